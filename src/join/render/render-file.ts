/**
 * A join rendered to a file: streaming, stoppable, and resumable. A picture sequence goes on after its last whole
 * picture, a film file after its last whole piece (render-pieces.ts).
 */
import { createHash } from 'node:crypto';
import { existsSync, mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { basename, dirname, join } from 'node:path';
import { createPicture } from '../../image/picture.js';
import { isSequencePattern } from '../../media/sequence.js';
import { VideoWriter } from '../../media/video-writer.js';
import {
  begunBeside,
  filmColour,
  keepsCodes,
  openSinks,
  type RenderOptions,
  type RenderReport,
  type Sinks,
} from './film-sinks.js';
import type { JoinRenderer } from './render.js';
import { renderPieces } from './render-pieces.js';

export type { RenderOptions, RenderReport } from './film-sinks.js';

/** Renders the recipe's whole span. Throws `PW-JOIN-STOPPED` when the signal is raised; finished pieces stay. */
export async function renderJoin(renderer: JoinRenderer, out: string, options: RenderOptions): Promise<RenderReport> {
  const { in: first, out: end } = renderer.recipe.plate;
  if (isSequencePattern(out)) return renderSequence(renderer, out, options);
  if (options.resumeIn === undefined) {
    let sinks: Sinks | null = null;
    try {
      let done = 0;
      for await (const frame of begunBeside(renderer.frames(first, end, options.choice, options.signal), async () => {
        sinks = await openSinks(renderer, out, options.matte, options);
      })) {
        await sinks!.add(frame);
        done++;
        options.onProgress?.(done, end - first);
      }
    } catch (error) {
      await (sinks as Sinks | null)?.abort();
      throw error;
    }
    await sinks!.close();
    return { frames: end - first, kept: 0, leftOff: renderer.leftOff };
  }
  return renderPieces(renderer, out, options, options.resumeIn);
}

async function renderSequence(renderer: JoinRenderer, out: string, o: RenderOptions): Promise<RenderReport> {
  const { in: first, out: end } = renderer.recipe.plate;
  // Pictures are gone on with only where a stopped render of this very recipe left them: its stamp stands beside them
  // until it is done.
  const mark = join(dirname(out), `.${basename(out).replace(/%\d*d/, '')}.unfinished`);
  const stamp = createHash('sha256')
    .update(JSON.stringify([renderer.recipe, o.choice ?? null, o.codec]))
    .digest('hex');
  const resume = existsSync(mark) && readFileSync(mark, 'utf8') === stamp;
  mkdirSync(dirname(out), { recursive: true });
  writeFileSync(mark, stamp);
  const writer = await VideoWriter.open(out, {
    widthPx: renderer.plateInfo.widthPx,
    heightPx: renderer.plateInfo.heightPx,
    rate: renderer.rate,
    codec: o.codec,
    colour: filmColour(renderer, o.codec),
    resume,
    firstNumber: first,
  });
  const kept = Math.min(end - first, writer.framesDone);
  const matte =
    o.matte === undefined
      ? null
      : await VideoWriter.open(o.matte, {
          widthPx: renderer.plateInfo.widthPx,
          heightPx: renderer.plateInfo.heightPx,
          rate: renderer.rate,
          codec: isSequencePattern(o.matte) ? 'png' : 'ffv1',
          grey: true,
          bits: 8,
          resume,
          firstNumber: first,
        });
  const straight = keepsCodes(renderer, o.codec);
  let done = kept;
  try {
    for await (const frame of renderer.frames(first + kept, end, o.choice, o.signal)) {
      await o.onFrame?.(frame);
      if (straight && !frame.plate.hasAlpha) await writer.writeCoded(frame.coded());
      else await writer.write(frame.linear());
      if (matte !== null) {
        const g = createPicture(frame.plate.widthPx, frame.plate.heightPx, 1);
        g.data.set(frame.matte());
        await matte.writeCoded(g);
      }
      done++;
      o.onProgress?.(done, end - first);
    }
  } catch (error) {
    await writer.abort();
    await matte?.abort();
    throw error;
  }
  await writer.close();
  await matte?.close();
  rmSync(mark, { force: true });
  return { frames: end - first, kept, leftOff: renderer.leftOff };
}
