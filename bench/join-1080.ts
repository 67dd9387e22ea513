/**
 * The `stand` shot of the truth set enlarged to 1080p, with its recipe as proposed:
 * what render and preview are timed on.
 */
import { join } from 'node:path';
import { resize } from '../src/image/resize.js';
import { joinTools } from '../src/join/render/join-tools.js';
import { proposeFromFiles } from '../src/join/quick.js';
import type { JoinOptions } from '../src/join/render/render.js';
import type { Recipe } from '../src/join/types.js';
import { toCodedRgb } from '../src/media/convert.js';
import { VideoReader } from '../src/media/video-reader.js';
import { VideoWriter } from '../src/media/video-writer.js';
import type { MarksFile } from '../src/plate/marks/marks.js';
import { truthMarks } from './truth-marks.js';
import { firstOf, readTruth, truthFile } from './truth-set.js';

/** Marks of a picture enlarged `k` times: pixels grow, frames, metres and degrees do not. */
function enlargedMarks(marks: MarksFile, k: number): MarksFile {
  const grown = (v: unknown, name = ''): unknown => {
    if (Array.isArray(v)) return v.map((x) => grown(x, name));
    if (typeof v === 'number') return ['frame', 'height', 'yawDeg', 'cameraHeight'].includes(name) ? v : v * k;
    return typeof v === 'object' && v !== null
      ? Object.fromEntries(Object.entries(v).map(([key, x]) => [key, grown(x, key)]))
      : v;
  };
  return grown(marks) as MarksFile;
}

/** Writes plate and take into `folder` and proposes the join. Needs the truth set beside the checkout. */
export async function standAt1080(folder: string): Promise<{ recipe: Recipe; options: JoinOptions }> {
  const stand = firstOf('stand');
  const W = 1920;
  const H = 1080;
  const names = { plate: join(folder, 'plate.mp4'), take: join(folder, 'take.mp4') };
  for (const f of ['plate', 'take'] as const) {
    const r = await VideoReader.open(truthFile(stand, `${f}.mp4`));
    const w = await VideoWriter.open(names[f], {
      widthPx: W,
      heightPx: H,
      rate: { num: 24, den: 1 },
      codec: 'h264',
      crf: 12,
      preset: 'veryfast',
    });
    for await (const frame of r.frames()) await w.writeCoded(resize(toCodedRgb(frame), W, H, 'cubic'));
    await w.close();
    await r.close();
  }
  const marks = truthMarks(stand);
  const k = H / readTruth(stand).height;
  const proposal = await proposeFromFiles(
    names.plate,
    names.take,
    enlargedMarks(marks.plate, k),
    enlargedMarks(marks.take, k),
    'fine',
  );
  return {
    recipe: proposal.recipe,
    options: {
      ...(await joinTools(proposal.recipe, null, proposal.camera)),
      carrier: proposal.carrier,
      screens: proposal.screens,
    },
  };
}
