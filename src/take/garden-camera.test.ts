/**
 * A hand that goes aside before a hedge: the ground at the feet and the hedge behind
 * shift otherwise, and it is the feet that count.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { waves } from '../../bench/drawn-performer.js';
import { RandomStream } from '../core/random.js';
import { apply, invert } from '../geometry/mat3.js';
import { createPicture } from '../image/picture.js';
import { VideoReader } from '../media/video-reader.js';
import { VideoWriter } from '../media/video-writer.js';
import { gardenCamera } from './garden-camera.js';

const W = 320;
const H = 180;
const FRAMES = 9;
const HORIZON = 70;
const FOOT = [160, 150] as const;
let folder: string;
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-garden-'));
});
afterAll(() => {
  rmSync(folder, { recursive: true, force: true });
});

/** Shift of the ground at the feet; the hedge shows a fifth of it, the ground between in proportion to its nearness. */
const aside = (n: number): number => 14 * Math.sin(n / 4);
const shake = (n: number): number => 3 * Math.sin(1.7 * n);
const shareAt = (y: number): number => (y < HORIZON ? 0.2 : 0.2 + (0.8 * (y - HORIZON)) / (FOOT[1] - HORIZON));

it('is told from the ground about the feet', async () => {
  const file = join(folder, 'take.mp4');
  const random = new RandomStream(4);
  const rough = [waves(random, 4), waves(random, 12)];
  const writer = await VideoWriter.open(file, {
    widthPx: W,
    heightPx: H,
    rate: { num: 24, den: 1 },
    codec: 'h264',
    crf: 18,
  });
  const p = createPicture(W, H, 3);
  const n = W * H;
  for (let f = 0; f < FRAMES; f++) {
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++) {
        const v = y - shake(f);
        const u = x - aside(f) * shareAt(v);
        const sway = 3 * Math.sin(f);
        const body = Math.hypot((x - FOOT[0] - aside(f) - sway) / 18, (v - 110) / 40) < 1;
        const set = 0.4 + 0.2 * rough[0]!(u, v) + 0.15 * rough[1]!(u, v);
        const noise = 0.005 * random.normal();
        for (let c = 0; c < 3; c++)
          p.data[c * n + y * W + x] =
            (body ? 0.7 + 0.1 * Math.sin(v / 3) : v < HORIZON ? set * [0.6, 1, 0.5][c]! : set * [1, 0.9, 0.6][c]!) +
            noise;
      }
    await writer.writeCoded(p);
  }
  await writer.close();
  const reader = await VideoReader.open(file);
  try {
    const boxes = [0, 4, 8].map((frame) => {
      const x = FOOT[0] + aside(frame);
      return { frame, box: { x0: x - 21, y0: 70, x1: x + 21, y1: 150 }, touches: [], offScreen: 0, sigmaPx: null };
    });
    const { camera, note } = await gardenCamera(reader, boxes, 0, FOOT, 80);
    expect([camera?.of, note]).toEqual(['ground', null]);
    let worst = 0;
    for (const f of camera!.frames) {
      const [x, y] = apply(invert(f.homographyToFirst), FOOT[0], FOOT[1]);
      worst = Math.max(worst, Math.hypot(x - FOOT[0] - aside(f.frame), y - FOOT[1] - shake(f.frame)));
    }
    expect(worst).toBeLessThan(0.5);
  } finally {
    await reader.close();
  }
});
