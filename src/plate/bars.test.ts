/** Bars drawn to the row, also with writing on them; a push of known size between bars, measured as without them. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../core/random.js';
import { gaussianPlane } from '../image/gaussian.js';
import { measureCameraMove } from './camera/camera-move.js';
import { barsOf } from './bars.js';
import type { LumaSource } from './ride/ride-source.js';

const W = 320;
const H = 180;

/**
 * A textured picture seen by a camera that pans by `pan` and comes nearer by `zoom`,
 * between bars of `bar` rows that hold still.
 */
function seen(texture: Float32Array, size: number, zoom: number, pan: number, bar: number): Float32Array {
  const out = new Float32Array(W * H);
  for (let y = bar; y < H - bar; y++)
    for (let x = 0; x < W; x++) {
      const u = (x - W / 2) / zoom + size / 2 + pan;
      const v = (y - H / 2) / zoom + size / 2;
      const i = Math.floor(u);
      const j = Math.floor(v);
      const a = u - i;
      const b = v - j;
      const t = (k: number): number => texture[k]!;
      out[y * W + x] =
        (1 - a) * (1 - b) * t(j * size + i) +
        a * (1 - b) * t(j * size + i + 1) +
        (1 - a) * b * t((j + 1) * size + i) +
        a * b * t((j + 1) * size + i + 1);
    }
  return out;
}

function textureOf(size: number): Float32Array {
  const r = new RandomStream(5);
  const noise = Float32Array.from({ length: size * size }, () => r.normal());
  return Float32Array.from(gaussianPlane(noise, size, size, 2.2), (v) => Math.min(0.95, Math.max(0.06, 0.5 + 1.1 * v)));
}

describe('black bars', () => {
  it('are found to the row, on two sides or four, through a little noise', () => {
    const one = (top: number, bottom: number, side: number): Float32Array =>
      Float32Array.from({ length: W * H }, (_, i) => {
        const x = i % W;
        const y = Math.floor(i / W);
        return y < top || y >= H - bottom || x < side || x >= W - side ? 0.004 * (i % 3) : 0.4;
      });
    expect(barsOf([one(22, 23, 0)], W, H)).toEqual({ top: 22, bottom: 23, left: 0, right: 0 });
    expect(barsOf([one(0, 0, 40)], W, H)).toEqual({ top: 0, bottom: 0, left: 40, right: 40 });
    expect(barsOf([one(12, 12, 16), one(12, 12, 18)], W, H)).toEqual({ top: 12, bottom: 12, left: 16, right: 16 });
    // A night sky, an encoder's edge, a picture that is black altogether: no bars.
    expect(barsOf([one(60, 0, 0)], W, H)).toBeNull();
    expect(barsOf([one(2, 2, 0)], W, H)).toBeNull();
    expect(barsOf([new Float32Array(W * H)], W, H)).toBeNull();
  });

  it('are found whole through writing burnt into them', () => {
    const one = (code: number, mark: number): Float32Array =>
      Float32Array.from({ length: W * H }, (_, i) => {
        const x = i % W;
        const y = Math.floor(i / W);
        if (y >= 24 && y < H - 24) return 0.4;
        const written = y >= H - 18 && y < H - 8 && x > 100 && x < 180 && (x + code) % 5 < 3;
        return written || (y >= 7 && y < 15 && x > 20 && x < 20 + mark) ? 0.9 : 0.004;
      });
    const whole = { top: 24, bottom: 24, left: 0, right: 0 };
    expect(barsOf([one(0, 0), one(2, 0)], W, H)).toEqual(whole);
    // Both bars written on: nothing plain is left to go by but where the picture begins.
    expect(barsOf([one(0, 70), one(1, 70)], W, H)).toEqual(whole);
    // A black sky with a lamp over a street that reaches the lower border is no bar.
    const night = Float32Array.from({ length: W * H }, (_, i) => {
      const y = Math.floor(i / W);
      return y >= 60 || (y > 20 && y < 26 && i % W > 40 && i % W < 46) ? 0.4 : 0;
    });
    expect(barsOf([night], W, H)).toBeNull();
  });

  it('do not hold the camera: a push between bars is the push without them', async () => {
    const size = 700;
    const texture = textureOf(size);
    const count = 10;
    const clip = (bar: number): LumaSource => ({
      widthPx: W,
      heightPx: H,
      frameCount: count,
      async *frames(from: number, to: number) {
        for (let n = from; n < Math.min(to, count); n++)
          yield { index: n, luma: seen(texture, size, 1 + 0.025 * n, 0, bar) };
      },
    });
    const truth = 1 + 0.025 * (count - 1);
    for (const bar of [0, 24]) {
      const h = (await measureCameraMove(clip(bar), { framesPerSecond: 24 })).frames.at(-1)!.homographyToFirst;
      // A corner of the last frame lies nearer the middle of the first.
      const x = (h[0]! * W + h[1]! * (H - bar) + h[2]!) / (h[6]! * W + h[7]! * (H - bar) + h[8]!);
      const y = (h[3]! * W + h[4]! * (H - bar) + h[5]!) / (h[6]! * W + h[7]! * (H - bar) + h[8]!);
      expect(Math.abs(x - (W / 2 + W / 2 / truth))).toBeLessThan(0.25);
      expect(Math.abs(y - (H / 2 + (H / 2 - bar) / truth))).toBeLessThan(0.25);
    }
  });
});
