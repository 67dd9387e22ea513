/** A made set behind something stiff that bobs, and one that creeps by .09 px a frame: the measured way against it. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { apply } from '../../geometry/mat3.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { sampleBilinear } from '../../image/sampling.js';
import { measureCameraMove } from './camera-move.js';
import type { LumaSource } from '../ride/ride-source.js';

const W = 426;
const H = 240;

/**
 * A set that runs past at `step` px a frame, before it (where `hands`) one stiff thing over most of
 * the picture that bobs by some pixels, and grain.
 */
function shot(step: number, hands: boolean): LumaSource {
  const random = new RandomStream(7);
  const bw = W + 40;
  const noise = (w: number, h: number, s: number): Float32Array =>
    gaussianPlane(
      new Float32Array(w * h).map(() => random.normal()),
      w,
      h,
      s,
    );
  const rough = noise(bw, H, 8);
  const fine = noise(bw, H, 1.6);
  const thing = noise(W + 40, H + 40, 2);
  const set = rough.map((v, i) => 0.4 + 1.2 * v + 0.35 * fine[i]!);
  return {
    widthPx: W,
    heightPx: H,
    frameCount: 16,
    async *frames(from, to) {
      for (let n = from; n < to; n++) {
        const grain = new RandomStream(100 + n);
        const dx = 6 * Math.sin(n / 3);
        const dy = 5 * (1 - Math.cos(n / 4));
        const luma = new Float32Array(W * H);
        for (let y = 0; y < H; y++)
          for (let x = 0; x < W; x++) {
            const inside = hands && y + dy > 0.15 * H && x + dx > 0.13 * W && x + dx < 0.87 * W;
            const v = inside
              ? 0.5 + 1.5 * sampleBilinear(thing, W + 40, H + 40, x + 10.5 + dx, y + 10.5 + dy)
              : sampleBilinear(set, bw, H, x + 10.5 + step * n, y + 0.5);
            luma[y * W + x] = v + 0.01 * grain.normal();
          }
        yield { index: n, luma };
      }
    },
  };
}

describe('a camera on its stand', () => {
  it('is known to stand behind something stiff that moves over most of the picture', async () => {
    const move = await measureCameraMove(shot(0, true), { framesPerSecond: 24 });
    expect(move.move).toBe('static');
    for (const f of move.frames)
      for (const [x, y] of [
        [0, 0],
        [W, H],
      ] as const) {
        const [u, v] = apply(f.homographyToFirst, x, y);
        expect(Math.hypot(u - x, v - y), `frame ${f.frame}`).toBeLessThan(0.1);
      }
  });

  it('is not taken for one that creeps', async () => {
    const move = await measureCameraMove(shot(0.09, false), { framesPerSecond: 24 });
    for (const f of move.frames)
      expect(
        Math.abs(apply(f.homographyToFirst, W / 2, H / 2)[0] - W / 2 - 0.09 * f.frame),
        `frame ${f.frame}`,
      ).toBeLessThan(0.06);
  });
});
