/** The gap of hues by signs against the same by angles; a noisy screen of known share, small and large. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { findScreenHue, hueDegrees, hueGap, hueWithin } from './screen-hue.js';

describe('hue', () => {
  it('is within a gap by signs as by angles', () => {
    const random = new RandomStream(8);
    for (let k = 0; k < 20000; k++) {
      const r = random.uniform();
      const g = random.uniform();
      const b = random.uniform();
      const hue = 360 * random.uniform();
      const gap = 4 + 120 * random.uniform();
      const d = hueGap(hueDegrees(r, g, b), hue);
      if (Math.abs(d - gap) > 1e-6) expect(hueWithin(hue, gap)(r, g, b)).toBe(d < gap);
    }
  });

  it('of a large noisy screen is found as of a small one', () => {
    const picture = (n: number): Float32Array => {
      const random = new RandomStream(3);
      const p = new Float32Array(3 * n);
      for (let i = 0; i < n; i++) {
        const screen = i % 10 < 6;
        const s = 0.5 + random.uniform();
        p[i] = (screen ? 0.05 : 0.3) * s + 0.01 * random.normal();
        p[n + i] = (screen ? 0.4 : 0.25) * s + 0.01 * random.normal();
        p[2 * n + i] = (screen ? 0.1 : 0.2) * s + 0.01 * random.normal();
      }
      return p;
    };
    const small = findScreenHue([picture(40_000)])!;
    const large = findScreenHue([picture(400_000), picture(400_000)])!;
    expect(large.family).toBe('green');
    expect(Math.abs(large.hueDeg - small.hueDeg)).toBeLessThan(0.3);
    expect(large.share).toBeCloseTo(0.6, 2);
  });
});
