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
  it('says nothing where the border is hidden or the plate is as it was', () => {
    const p = patched(5, 0.05),
      mask = mendedMask(p.plate, p.mended, W, H);
    expect(readSeam(p.mended, mask, W, H, () => true)).toBeNull();
    expect(readSeam(p.plate, mendedMask(p.plate, p.plate, W, H), W, H, () => false)).toBeNull();
  });
});
