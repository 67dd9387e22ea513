/** A made pan in which somebody stands and then walks: the mask against where that body was drawn. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { gaussianPlane } from '../../image/gaussian.js';
import type { LumaSource } from '../../plate/ride/ride-source.js';
import { findMovers } from './set-movers.js';
import type { SetMotion } from './set-motion.js';

const W = 200,
  H = 112,
  FRAMES = 14,
  STEP = 3;

/**
 * A pan of 3 px a frame over a set; somebody 30 px wide stands in it for the first half and then walks at 3 px a frame.
 */
function scene(walks: boolean): { source: LumaSource; left: (n: number) => number } {
  const random = new RandomStream(8),
    bw = W + FRAMES * STEP;
  const noise = (w: number, s: number): Float32Array =>
    gaussianPlane(
      new Float32Array(w * H).map(() => random.normal()),
      w,
      H,
      s,
    );
  const set = noise(bw, 1.6),
    coat = noise(30, 2);
  const left = (n: number): number => 90 + (walks ? STEP * Math.max(0, n - 6) : 0) - STEP * n;
  return {
    left,
    source: {
      widthPx: W,
      heightPx: H,
      frameCount: FRAMES,
      async *frames(from, to) {
        for (let n = from; n < to; n++) {
          const luma = new Float32Array(W * H);
          for (let y = 0; y < H; y++)
            for (let x = 0; x < W; x++) {
              const k = x - left(n);
              luma[y * W + x] =
                k >= 0 && k < 30 && y > 30 && y < 100
                  ? 0.7 + 0.5 * coat[y * 30 + k]!
                  : 0.4 + 0.6 * set[y * bw + x + STEP * n]!;
            }
          yield { index: n, luma };
        }
      },
    },
  };
}

const motion: SetMotion = { still: false, fromReference: (n) => [1, 0, -STEP * n, 0, 1, 0, 0, 0, 1] };
const room = { width: W + FRAMES * STEP, height: H, fromReference: [1, 0, 0, 0, 1, 0, 0, 0, 1] as const };

describe('what moves through a set', () => {
  it('is known on the frames too on which it still stands, and the set is left alone', async () => {
    const { source, left } = scene(true);
    const movers = await findMovers(source, motion, { in: 0, out: FRAMES }, room);
    expect(movers).not.toBeNull();
    for (const n of [2, 11]) {
      const mask = movers!.maskOf(n);
      let body = 0,
        all = 0,
        far = 0;
      for (let y = 36; y < 94; y++)
        for (let x = left(n) + 4; x < left(n) + 26; x++) {
          all++;
          body += mask[y * W + x]!;
        }
      for (let y = 0; y < H; y++)
        for (let x = 0; x < W; x++) if (x < left(n) - 40 || x > left(n) + 70) far += mask[y * W + x]!;
      expect(body / all, `frame ${n}`).toBeGreaterThan(0.8);
      expect(far / (W * H), `frame ${n}`).toBeLessThan(0.02);
    }
  });

  it('is nothing where nobody walks', async () => {
    expect(await findMovers(scene(false).source, motion, { in: 0, out: FRAMES }, room)).toBeNull();
  });
});
