/**
 * A made set that runs past behind somebody large, and a wall that says little: the measured way against the one
 * drawn.
 */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { apply } from '../../geometry/mat3.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { measureCameraMove } from './camera-move.js';
import type { LumaSource } from '../ride/ride-source.js';

const W = 426;
const H = 240;
const STEP = 7;

/**
 * A camera that follows somebody large: the set runs past at 7 px a frame, the one it follows stays
 * in the middle of the picture and swings a little.
 */
function following(): LumaSource {
  const random = new RandomStream(11);
  const bw = W + 20 * STEP;
  const noise = (w: number, h: number, s: number): Float32Array =>
    gaussianPlane(
      new Float32Array(w * h).map(() => random.normal()),
      w,
      h,
      s,
    );
  const rough = noise(bw, H, 8);
  const fine = noise(bw, H, 1.6);
  const coat = noise(W, H, 5);
  return {
    widthPx: W,
    heightPx: H,
    frameCount: 12,
    async *frames(from, to) {
      for (let n = from; n < to; n++) {
        const luma = new Float32Array(W * H);
        for (let y = 0; y < H; y++)
          for (let x = 0; x < W; x++) {
            const o = y * bw + x + n * STEP;
            const inside = ((x - W / 2) / (0.27 * W)) ** 2 + ((y - H / 2) / (0.38 * H)) ** 2 < 1;
            luma[y * W + x] = inside
              ? 0.65 + 3 * coat[y * W + Math.min(W - 1, x + Math.round(0.7 * n))]!
              : 0.4 + 1.2 * rough[o]! + 0.35 * fine[o]!;
          }
        yield { index: n, luma };
      }
    },
  };
}

/**
 * A pan over a wall of one level grain with a few small things on it, ground without pattern and film
 * grain, while somebody keeps his place in the picture.
 */
function streaked(seed: number, reach: number): LumaSource {
  const random = new RandomStream(seed);
  const frames = 16;
  const at = (n: number): number => {
    const t = n / (frames - 1);
    return Math.round(reach * t * t * (3 - 2 * t));
  };
  const bw = W + reach;
  const white = (w: number, h: number): Float32Array => new Float32Array(w * h).map(() => random.normal());
  // Streaks run along the pan: all but nothing says how far it went.
  const streak = gaussianPlane(white(bw, H), bw, H, 40, 1.5);
  const blot = gaussianPlane(white(bw, H), bw, H, 1.4);
  const coat = gaussianPlane(white(W, H), W, H, 2.5);
  const things = Array.from(
    { length: 14 },
    () => [random.uniform() * bw, 10 + 120 * random.uniform(), 6 + 7 * random.uniform()] as const,
  );
  const set = new Float32Array(bw * H);
  for (let y = 0; y < H; y++)
    for (let x = 0; x < bw; x++) {
      const thing = things.some(([u, v, r]) => Math.abs(x - u) < r && Math.abs(y - v) < r);
      set[y * bw + x] = y > 0.68 * H ? 0.5 : thing ? 0.45 + 0.5 * blot[y * bw + x]! : 0.35 + 0.9 * streak[y * bw + x]!;
    }
  return {
    widthPx: W,
    heightPx: H,
    frameCount: frames,
    async *frames(from, to) {
      for (let n = from; n < to; n++) {
        const grain = new RandomStream(seed * 100 + n);
        const luma = new Float32Array(W * H);
        for (let y = 0; y < H; y++)
          for (let x = 0; x < W; x++) {
            const inside = Math.abs(x - W / 2) < 0.1 * W && y > 0.15 * H && y < 0.9 * H;
            luma[y * W + x] =
              (inside ? 0.3 + 0.8 * coat[y * W + x]! : set[y * bw + x + at(n)]!) + 0.012 * grain.normal();
          }
        yield { index: n, luma };
      }
    },
  };
}

describe("the camera's move behind somebody large whom it follows", () => {
  it("is the set's, from the first step on", async () => {
    const move = await measureCameraMove(following(), { framesPerSecond: 24 });
    for (const f of move.frames) {
      const [x, y] = apply(f.homographyToFirst, W / 2, H / 2);
      expect(Math.hypot(x - W / 2 - STEP * f.frame, y - H / 2), `frame ${f.frame}`).toBeLessThan(1);
    }
  });
});

describe("the camera's pan over a wall that says little", () => {
  // Found afar by the whole picture's sum it was off by 121 and 77 px; what is left is
  // the slow first step, taken for a standstill.
  it.each([4, 7])('is not lost where small things stay found (seed %i)', async (seed) => {
    const move = await measureCameraMove(streaked(seed, 220), { framesPerSecond: 24 });
    expect(move.move).toBe('pan');
    for (const f of move.frames) {
      const t = f.frame / 15;
      const [x, y] = apply(f.homographyToFirst, W / 2, H / 2);
      expect(Math.hypot(x - W / 2 - Math.round(220 * t * t * (3 - 2 * t)), y - H / 2), `frame ${f.frame}`).toBeLessThan(
        5,
      );
    }
  });
});
