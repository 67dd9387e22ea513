/** Bounds of red's and blue's grain on made blocks, whose grain is known. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { grainColour, type ColourBlock } from './grain-colour.js';

/**
 * Blocks of 256 pixels of a grain with these sds and one correlation of all channels, and red texture in some of them.
 */
function blocks(
  seed: number,
  sd: readonly [number, number, number],
  alike: number,
  redTexture = 0,
  share = 0,
): ColourBlock[] {
  const random = new RandomStream(seed);
  return Array.from({ length: 400 }, (_, n) => {
    const sums = new Float64Array(4);
    const apart = new Float64Array(3);
    for (let i = 0; i < 256; i++) {
      const common = random.normal();
      const [r, g, b] = sd.map((s) => s * (Math.sqrt(alike) * common + Math.sqrt(1 - alike) * random.normal())) as [
        number,
        number,
        number,
      ];
      const red = r + (n < share * 400 ? redTexture * random.normal() : 0);
      const luma = 0.2126 * red + 0.7152 * g + 0.0722 * b;
      [red, g, b, luma].forEach((v, c) => (sums[c]! += (v * v) / 256));
      [red - g, red - b, g - b].forEach((v, k) => (apart[k]! += (v * v) / 256));
    }
    return { level: Float64Array.of(0.5, 0.5, 0.5, 0.5), variance: sums, apart };
  });
}
const mean = (of: readonly ColourBlock[], c: number): number =>
  of.reduce((sum, s) => sum + s.variance[c]!, 0) / of.length;

describe("the grain's colour", () => {
  it('leaves grain that is coloured through and through as it was measured', () => {
    for (const alike of [0, 0.5, 0.8]) {
      const all = blocks(3, [0.02, 0.012, 0.025], alike);
      const told = grainColour(all, all, 1, [alike, alike, alike]);
      expect(told.most(0, 0.5, mean(all, 1))).toBeGreaterThan(0.02);
      expect(told.most(2, 0.5, mean(all, 1))).toBeGreaterThan(0.025);
      for (const c of told.channels) expect(Math.abs(c - alike)).toBeLessThan(0.06);
    }
  });

  it('takes red that moves on some walls for no grain where the rest of the picture is plain', () => {
    const all = blocks(4, [0.01, 0.01, 0.01], 0.9, 0.03, 0.7);
    const walls = all.slice(0, 280);
    expect(Math.sqrt(mean(walls, 0))).toBeGreaterThan(0.03);
    const told = grainColour(walls, all, 1, [0.3, 0.3, 0.9]);
    const most = told.most(0, 0.5, mean(walls, 1));
    expect(most).toBeGreaterThan(0.01);
    expect(most).toBeLessThan(0.017);
    expect(told.channels[0]).toBeGreaterThan(0.75);
    expect(told.most(1, 0.5, 1)).toBe(Infinity);
  });
});
