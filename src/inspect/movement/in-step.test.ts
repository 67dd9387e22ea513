/**
 * Steps and combs of made pictures: a set of noise that slides, or one small thing that does, each frame with a grain
 * of its own; the answer is known.
 */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { createPicture } from '../../image/picture.js';
import { readComb } from '../edge/comb.js';
import type { SeenFrame } from '../reader/frame.js';
import { halvedFrame, readStep as readHalved, type StepReading } from './in-step.js';

const readStep = (before: SeenFrame, now: SeenFrame): StepReading | null =>
  readHalved(halvedFrame(before, W, H), halvedFrame(now, W, H));

const W = 240,
  H = 160,
  N = W * H;
const noise = (seed: number, px: number): Float32Array => {
  const r = new RandomStream(seed),
    n = gaussianPlane(
      Float32Array.from({ length: N }, () => r.normal()),
      W,
      H,
      px,
    );
  return n.map((v) => v * 2 * Math.sqrt(Math.PI) * px);
};
const set = noise(1, 2.5),
  thing = noise(2, 2),
  matte = Float32Array.from({ length: N }, (_, i) => (Math.hypot((i % W) - 120, Math.floor(i / W) - 90) < 30 ? 1 : 0));

/**
 * Luma of a moment: a set that slides by `speed` px a frame and a thing at the left that goes by its own; grain of
 * `seed`.
 */
function moment(n: number, speed: number, seed: number): Float32Array {
  const g = noise(seed, 0.6);
  return Float32Array.from({ length: N }, (_, i) => {
    const x = i % W,
      y = Math.floor(i / W),
      q = x + Math.round(3 * n),
      inThing = Math.hypot(x - 40 - 3 * n, y - 60) < 24;
    return (
      0.45 +
      (inThing ? 0.12 * thing[y * W + ((q + W) % W)]! : 0.12 * set[y * W + ((x + Math.round(speed * n)) % W)]!) +
      0.01 * g[i]!
    );
  });
}
const seen = (n: number, luma: Float32Array, plateLuma: Float32Array): SeenFrame => ({
  frame: n,
  join: createPicture(W, H, 3),
  plate: createPicture(W, H, 3),
  luma,
  plateLuma,
  matte,
  box: [90, 60, 151, 121],
});
/**
 * Plate and join of a frame; the join shows the plate's frame `shows`, darker by a third at the bottom as a shadow
 * does, with another grain.
 */
const pair = (n: number, shows: number, speed: number): SeenFrame =>
  seen(
    n,
    moment(shows, speed, 500 + n).map((v, i) => (Math.floor(i / W) > 110 ? 0.67 * v : v)),
    moment(n, speed, 100 + n),
  );

describe('a join in step with its plate', () => {
  it.each([
    ['a camera that moves', 2],
    ['one thing that moves before a locked-off camera', 0],
  ])('is told by %s', (_, speed) => {
    const right = readStep(pair(3, 3, speed), pair(4, 4, speed))!;
    expect(Math.max(right.before, right.after)).toBeLessThan(0.1);
    expect(readStep(pair(3, 3, speed), pair(4, 3, speed))!.before).toBeGreaterThan(0.8);
    expect(readStep(pair(3, 4, speed), pair(4, 5, speed))!.after).toBeGreaterThan(0.8);
  });
  it('is not told where nothing moves but the grain', () => {
    const still = (n: number): SeenFrame => seen(n, moment(0, 0, 500 + n), moment(0, 0, 100 + n));
    expect(readStep(still(3), still(4))).toBeNull();
    expect(readComb(still(3), still(4))).toEqual({ inside: null, outside: null });
  });
});

describe('rows of two moments', () => {
  const woven = (a: Float32Array, b: Float32Array): Float32Array =>
    b.map((v, i) => (Math.floor(i / W) % 2 === 0 ? a[i]! : v));
  const file = (n: number, comb: boolean, speed: number): SeenFrame => {
    const f = pair(n, n, speed);
    return comb ? { ...f, luma: woven(pair(n - 1, n - 1, speed).luma, f.luma) } : f;
  };
  it.each([
    ['a camera that moves', 2],
    ['one thing that moves', 0],
  ])('are told by %s', (_, speed) => {
    expect(Math.abs(readComb(file(3, false, speed), file(4, false, speed)).outside!.slope)).toBeLessThan(0.08);
    expect(Math.abs(readComb(file(3, true, speed), file(4, true, speed)).outside!.slope)).toBeGreaterThan(0.4);
  });
  it('are told in the performer alone, and are no fault where the plate is woven the same way', () => {
    const f = [3, 4].map((n) => {
      const a = pair(n - 1, n - 1, 2),
        b = pair(n, n, 2),
        w = woven(a.luma, b.luma);
      return { ...b, luma: b.luma.map((v, i) => (matte[i]! > 0 ? w[i]! : v)) };
    });
    const r = readComb(f[0]!, f[1]!);
    expect(Math.abs(r.inside!.slope)).toBeGreaterThan(0.4);
    expect(Math.abs(r.outside!.slope)).toBeLessThan(0.08);
    const both = [3, 4].map((n) => {
      const a = pair(n - 1, n - 1, 2),
        b = pair(n, n, 2);
      return { ...b, luma: woven(a.luma, b.luma), plateLuma: woven(a.plateLuma, b.plateLuma) };
    });
    expect(Math.abs(readComb(both[0]!, both[1]!).outside!.slope)).toBeLessThan(0.15);
  });
});
