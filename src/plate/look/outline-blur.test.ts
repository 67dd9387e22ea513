/**
 * Made heads (bench/made-heads.ts) blurred by known Gaussians: the softness read, and the stated error of key over
 * fill against the truth.
 */
import { describe, expect, it } from 'vitest';
import { makeHead } from '../../../bench/made-heads.js';
import { RandomStream } from '../../core/random.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { lightFromShading } from '../light/light-shading.js';
import { outlineBlur } from './outline-blur.js';

function soft(seed: number, blur: number): ReturnType<typeof makeHead> {
  const h = makeHead(new RandomStream(seed, 5), 40);
  const n = h.picture.width * h.picture.height;
  if (blur > 0)
    for (let c = 0; c < 3; c++)
      h.picture.data.set(
        gaussianPlane(h.picture.data.slice(c * n, c * n + n), h.picture.width, h.picture.height, blur),
        c * n,
      );
  return h;
}

describe('a head out of focus', () => {
  const seeds = Array.from({ length: 12 }, (_, i) => 900 + i);
  it('shows how soft its outline is', () => {
    for (const [blur, low, high] of [
      [0, 0.3, 1],
      [2, 1.2, 2.3],
      [5, 2.8, 5.2],
    ] as const) {
      const read = seeds
        .map((s) => {
          const h = soft(s, blur);
          return outlineBlur(h.picture, h.ellipse) ?? NaN;
        })
        .sort((a, b) => a - b)[6]!;
      expect(read).toBeGreaterThan(low);
      expect(read).toBeLessThan(high);
    }
  });
  it('tells key over fill with a standard deviation that grows and covers the truth', () => {
    let covered = 0;
    let told = 0;
    for (const s of seeds) {
      const sharp = soft(s, 0);
      const h = soft(s, 6);
      const l = lightFromShading(h.picture, h.ellipse, null);
      const before = lightFromShading(sharp.picture, sharp.ellipse, null);
      if (l === null || before === null) continue;
      told++;
      expect(l.keyFillSd).toBeGreaterThan(0.5);
      if (Math.abs(l.keyFillStops - h.keyFillStops) <= 2 * l.keyFillSd) covered++;
    }
    expect(told).toBeGreaterThan(8);
    expect(covered / told).toBeGreaterThanOrEqual(0.8);
  });
});
