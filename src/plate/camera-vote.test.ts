import { describe, expect, it } from 'vitest';
import { RandomStream } from '../core/random.js';
import { apply } from '../geometry/mat3.js';
import { gaussianPlane } from '../image/gaussian.js';
import { measureCameraMove } from './camera-move.js';
import type { LumaSource } from './ride-source.js';

const W = 426, H = 240, STEP = 7;

/** A camera that follows somebody large: the set runs past at 7 px a frame, the one it follows stays in the middle of the picture and swings a little. */
function following(): LumaSource {
  const random = new RandomStream(11);
  const bw = W + 20 * STEP, noise = (w: number, h: number, s: number): Float32Array => gaussianPlane(new Float32Array(w * h).map(() => random.normal()), w, h, s);
  const rough = noise(bw, H, 8), fine = noise(bw, H, 1.6), coat = noise(W, H, 5);
  return {
    widthPx: W, heightPx: H, frameCount: 12,
    async *frames(from, to) {
      for (let n = from; n < to; n++) {
        const luma = new Float32Array(W * H);
        for (let y = 0; y < H; y++) for (let x = 0; x < W; x++) {
          const o = y * bw + x + n * STEP;
          const inside = ((x - W / 2) / (0.27 * W)) ** 2 + ((y - H / 2) / (0.38 * H)) ** 2 < 1;
          luma[y * W + x] = inside ? 0.65 + 3 * coat[y * W + Math.min(W - 1, x + Math.round(0.7 * n))]! : 0.4 + 1.2 * rough[o]! + 0.35 * fine[o]!;
        }
        yield { index: n, luma };
      }
    },
  };
}

describe('the camera\'s move behind somebody large whom it follows', () => {
  it('is the set\'s, from the first step on', async () => {
    const move = await measureCameraMove(following(), { framesPerSecond: 24 });
    for (const f of move.frames) {
      const [x, y] = apply(f.homographyToFirst, W / 2, H / 2);
      expect(Math.hypot(x - W / 2 - STEP * f.frame, y - H / 2), `frame ${f.frame}`).toBeLessThan(1);
    }
  });
});
