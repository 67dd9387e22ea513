/** A performer that will be halved is peeled at half size: nearly as well as the whole one halved, on the same grid. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { GARDENS, gardenTake } from '../../../bench/garden-take.js';
import { copyFrame } from '../../media/planes.js';
import type { VideoFrame } from '../../media/types.js';
import { VideoReader } from '../../media/video-reader.js';
import { outlinePolygon } from '../outline/outline-polygon.js';
import type { PeelStep } from '../performer-steps.js';
import { halvePerformer } from './halve-performer.js';
import { differencePeeler, outlinePeeler, type Peeler, type PerformerPicture } from './performer.js';

// So wide that the small picture on which who stands there is told is of pairs of pixels.
const W = 720,
  H = 404,
  w = W / 2,
  h = H / 2;
let folder: string, frame: VideoFrame, empty: VideoFrame, truth: Float32Array;

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-half-'));
  const file = join(folder, 'take.mp4'),
    frames = await gardenTake(file, 602, GARDENS[0]!, W, H, 1, 1),
    reader = await VideoReader.open(file);
  frame = copyFrame(await reader.frame(0));
  empty = copyFrame(await reader.frame(1));
  truth = frames[0]!.alpha;
  await reader.close();
});
afterAll(() => {
  rmSync(folder, { recursive: true, force: true });
});

/** Alpha over the half picture. */
function alphaOf({ box, picture }: PerformerPicture): Float32Array {
  const out = new Float32Array(w * h),
    n = picture.width * picture.height;
  for (let y = Math.max(0, box[1]); y < Math.min(h, box[3]); y++)
    for (let x = Math.max(0, box[0]); x < Math.min(w, box[2]); x++)
      out[y * w + x] = picture.data[3 * n + (y - box[1]) * picture.width + x - box[0]]!;
  return out;
}

async function errors(peeler: Peeler): Promise<{ whole: number; half: number }> {
  const whole = halvePerformer(await peeler.peel(frame)),
    half = await peeler.peel(frame, 1);
  expect(half.unit).toBe(2);
  const of = (p: PerformerPicture): number => {
    const a = alphaOf(p);
    let sum = 0;
    for (let y = 0; y < h; y++)
      for (let x = 0; x < w; x++) {
        const i = 2 * y * W + 2 * x,
          t = 0.25 * (truth[i]! + truth[i + 1]! + truth[i + W]! + truth[i + W + 1]!);
        sum += (a[y * w + x]! - t) ** 2;
      }
    return sum;
  };
  return { whole: of(whole), half: of(half) };
}

it('cut out by an outline', async () => {
  const polygon = outlinePolygon(
      Uint8Array.from(truth, (a) => (a > 0.5 ? 1 : 0)),
      W,
      H,
      1,
      2,
    ),
    step = { method: 'outline', outline: { frames: [{ frame: 0, polygon }] } } as unknown as PeelStep,
    { whole, half } = await errors(outlinePeeler(step));
  expect(half).toBeLessThan(1.25 * whole);
});

it('told from the empty set', async () => {
  const { whole, half } = await errors(differencePeeler([empty]));
  expect(half).toBeLessThan(1.25 * whole);
});
