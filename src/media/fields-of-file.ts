/** Looks into a clip for interlace and pulldown: two runs of frames where there may be any (see field-analysis.ts). */
import { judgeFields, mayHaveFields, RUN_LENGTH, WHOLE, type FieldUse } from './field-analysis.js';
import type { Cursor } from './field-cursor.js';
import { copyFrame } from './planes.js';
import type { VideoFrame, VideoInfo } from './types.js';

/** Clips of fewer frames are taken as they are: too little to tell by. */
const FEWEST_FRAMES = 8;

/**
 * How the clip's fields belong together. `open` gives a cursor over its frames as they lie in the file; it is closed
 * here. Clips that can't have fields are not looked at.
 */
export async function fieldsOf(info: VideoInfo, open: () => Promise<Cursor>): Promise<FieldUse> {
  const count = info.frameCount;
  const flagged = info.fieldOrder !== 'progressive';
  if (info.variableRate || info.rotationDeg !== 0 || count < FEWEST_FRAMES) return WHOLE;
  if (!mayHaveFields(info.heightPx, info.rate, flagged)) return WHOLE;
  const starts =
    count <= 2 * RUN_LENGTH ? [0] : [Math.floor((count - RUN_LENGTH) / 4), Math.floor((3 * (count - RUN_LENGTH)) / 4)];
  const length = starts.length === 1 ? 2 * RUN_LENGTH : RUN_LENGTH;
  const cursor = await open();
  const runs: VideoFrame[][] = [];
  try {
    for (const start of starts) runs.push(await runOf(cursor, start, Math.min(count, start + length)));
  } finally {
    await cursor.close();
  }
  return judgeFields(runs, info.fieldOrder === 'top' ? 0 : info.fieldOrder === 'bottom' ? 1 : null);
}

/** Frames from..to as far as they can be had, without the chroma. */
async function runOf(cursor: Cursor, from: number, to: number): Promise<VideoFrame[]> {
  const run: VideoFrame[] = [];
  for (let n = from; n < to; n++) {
    const frame = await cursor.get(n);
    if (frame === null) break;
    const planes = frame.planes.slice(0, frame.layout === 'rgb' ? 2 : 1);
    run.push({ ...frame, planes: copyFrame({ ...frame, planes }).planes });
  }
  return run;
}
