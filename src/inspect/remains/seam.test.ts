/** A patch laid into a textured picture shows by its step, not by the picture's own texture. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { mendedMask, readSeam } from './seam.js';

const W = 200,
  H = 140,
  N = W * H;

/** A textured picture; the same with a disc of other texture in it, brighter by `step`. */
function patched(seed: number, step: number): { plate: Float32Array; mended: Float32Array } {
  const r = new RandomStream(seed),
    noise = (px: number): Float32Array =>
      gaussianPlane(
        Float32Array.from({ length: N }, () => r.normal()),
        W,
        H,
        px,
      );
  const a = noise(2),
    b = noise(2),
    grain = noise(0.6);
  const plate = Float32Array.from({ length: N }, (_, i) => 0.4 + 0.1 * a[i]! + 0.01 * grain[i]! + 0.0005 * (i % W));
  const mended = plate.map((v, i) =>
    Math.hypot((i % W) - 90, Math.floor(i / W) - 70) < 36 ? 0.4 + 0.1 * b[i]! + 0.0005 * (i % W) + step : v,
  );
  return { plate, mended };
}

describe('the seam of a mended plate', () => {
  it('reads nothing where the patch meets the picture, and its step where it does not', () => {
    const mean = (step: number): number =>
      [1, 2, 3, 4].reduce((s, seed) => {
        const p = patched(seed, step);
        return s + readSeam(p.mended, mendedMask(p.plate, p.mended, W, H), W, H, () => false)!.step / 4;
      }, 0);
    expect(mean(0)).toBeLessThan(0.006);
    for (const step of [0.03, 0.06]) expect(Math.abs(mean(step) - step)).toBeLessThan(0.012);
    expect(Math.abs(mean(-0.04) - 0.04)).toBeLessThan(0.012);
    const p = patched(2, 0.06),
      { at } = readSeam(p.mended, mendedMask(p.plate, p.mended, W, H), W, H, () => false)!;
    // The place told lies on the patch's border.
    expect(Math.abs(Math.hypot((at[0] + at[2]) / 2 - 90, (at[1] + at[3]) / 2 - 70) - 36)).toBeLessThan(14);
  });
  it('tells a step along the upper part of the border alone, and no joint or edge that crosses it', () => {
    // A wall with two dark joints, a skirting that crosses the disc, a fine grain; the fill fades from `step` to nothing.
    const read = (step: number): ReturnType<typeof readSeam> => {
      const r = new RandomStream(11),
        plate = Float32Array.from({ length: N }, (_, i) => {
          const joint = (i % W) % 110 < 3 ? 0.12 : 0,
            skirting = Math.floor(i / W) > 84 ? 0.2 : 0;
          return 0.5 - joint - skirting + 0.003 * r.normal();
        }),
        mask = new Uint8Array(N),
        mended = plate.map((v, i) => {
          const y = Math.floor(i / W) - 70;
          if (Math.hypot((i % W) - 90, y) >= 50) return v;
          mask[i] = 1;
          return v + 0.004 * r.normal() + step * Math.min(1, Math.max(0, -(y + 10) / 15));
        });
      return readSeam(mended, mask, W, H, () => false);
    };
    expect(read(0)!.step).toBeLessThan(0.004);
    for (const step of [0.04, -0.04]) {
      const { step: told, at } = read(step)!;
      expect(told).toBeGreaterThan(0.02);
      expect(told).toBeLessThan(0.045);
      // In the upper part of the disc, by its border.
      expect(at[3]).toBeLessThan(72);
    }
  });
  it('says nothing where the border is hidden or the plate is as it was', () => {
    const p = patched(5, 0.05),
      mask = mendedMask(p.plate, p.mended, W, H);
    expect(readSeam(p.mended, mask, W, H, () => true)).toBeNull();
    expect(readSeam(p.plate, mendedMask(p.plate, p.plate, W, H), W, H, () => false)).toBeNull();
  });
});
