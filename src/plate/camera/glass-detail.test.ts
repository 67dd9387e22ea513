/**
 * A made pan of known speed behind drops that go with the camera: where the drops are found, and the way with and
 * without them.
 */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { gaussianPlane } from '../../image/gaussian.js';
import type { LumaFrame, LumaSource } from '../ride/ride-source.js';
import { measureCameraMove } from './camera-move.js';
import { glassDetail, throughGlass } from './glass-detail.js';

const W = 320,
  H = 180,
  FRAMES = 24;
/** The whole set that a camera pans over, and drops on a pane before it. */
const SET = (() => {
  const random = new RandomStream(7);
  const noise = (sd: number): Float32Array =>
    gaussianPlane(
      new Float32Array(3 * W * H).map(() => random.normal()),
      3 * W,
      H,
      sd,
    );
  const fine = noise(2),
    broad = noise(9);
  return fine.map((v, i) => 0.4 + 0.5 * v + 1.5 * broad[i]!);
})();
const DROPS = (() => {
  const random = new RandomStream(11),
    out = new Float32Array(W * H);
  for (let k = 0; k < 130; k++) {
    const cx = random.uniform() * W,
      cy = random.uniform() * H,
      r = 1 + 2 * random.uniform();
    for (let y = Math.max(0, Math.floor(cy - r - 1)); y < Math.min(H, cy + r + 1); y++)
      for (let x = Math.max(0, Math.floor(cx - r - 1)); x < Math.min(W, cx + r + 1); x++)
        out[y * W + x] = Math.max(out[y * W + x]!, Math.min(1, Math.max(0, r + 0.5 - Math.hypot(x - cx, y - cy))));
  }
  return out;
})();

/** A pan of `px` a frame behind drops of so much light. */
function shot(px: number, drops: number): LumaSource {
  return {
    widthPx: W,
    heightPx: H,
    frameCount: FRAMES,
    async *frames(from: number, to: number): AsyncGenerator<LumaFrame> {
      for (let n = from; n < to; n++) {
        const luma = new Float32Array(W * H),
          random = new RandomStream(100 + n);
        for (let y = 0; y < H; y++)
          for (let x = 0; x < W; x++) {
            const u = x + 20 + px * n,
              i = Math.floor(u),
              t = u - i,
              back = (1 - t) * SET[y * 3 * W + i]! + t * SET[y * 3 * W + i + 1]!;
            luma[y * W + x] = back + drops * DROPS[y * W + x]! * (1 - back) + 0.008 * random.normal();
          }
        yield { index: n, luma };
      }
      await Promise.resolve();
    },
  };
}
const SPAN = { in: 0, out: FRAMES };
const wayOf = async (source: LumaSource): Promise<number> => {
  const { frames } = await measureCameraMove(source, { framesPerSecond: 24, span: SPAN });
  const m = frames.at(-1)!.homographyToFirst;
  return (m[0]! * (W / 2) + m[1]! * (H / 2) + m[2]!) / (m[6]! * (W / 2) + m[7]! * (H / 2) + m[8]!) - W / 2;
};

describe('drops on a pane that goes with the camera', () => {
  it('pass for a camera that stands, and do not once they are painted over', async () => {
    const source = shot(1.5, 0.7),
      true_ = 1.5 * (FRAMES - 1);
    expect(Math.abs((await wayOf(source)) - true_)).toBeGreaterThan(5);
    expect(Math.abs((await wayOf(await throughGlass(source, SPAN))) - true_)).toBeLessThan(0.5);
  });

  it('are found where they lie, and not on clear glass or before a camera that stands', async () => {
    const found = (await glassDetail(shot(1.5, 0.7), SPAN))!;
    let hit = 0,
      drops = 0,
      beside = 0;
    for (let i = 0; i < W * H; i++) {
      if (DROPS[i]! > 0.9) {
        drops++;
        if (found[i]! > 0) hit++;
      } else if (DROPS[i] === 0 && found[i]! > 0) beside++;
    }
    expect(hit / drops).toBeGreaterThan(0.9);
    // Room is kept about 130 drops, and between those that lie close together.
    expect(beside / (W * H)).toBeLessThan(0.4);
    expect(await glassDetail(shot(0, 0.7), SPAN)).toBeNull();
    const clear = await glassDetail(shot(1.5, 0), SPAN);
    expect(clear === null || clear.filter((v) => v > 0).length < 0.02 * W * H).toBe(true);
  });
});
