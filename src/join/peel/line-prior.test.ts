/** How far a drawn line speaks for the coverage about it, beside what unmixing two clouds can tell. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { coverageByLine, heldToLine, unmixingVariance } from './line-prior.js';
import { unmixingModelPlain } from './local-unmix.js';

/** Variance of the noise of a channel. */
const NOISE = 1e-4;

/**
 * Pixels mixed of two clouds of unlike channels (scatter s), unmixed by the model of their moments: the mean square of
 * what is off over a uniform coverage, and the variance foretold.
 */
function tried(front: readonly number[], back: readonly number[], s: number): { off: number; foretold: number } {
  const sd = [s, 0.6 * s, 1.4 * s];
  const second = (m: readonly number[]): number[] =>
    [
      [0, 0],
      [0, 1],
      [0, 2],
      [1, 1],
      [1, 2],
      [2, 2],
    ].map(([p, q]) => m[p!]! * m[q!]! + (p === q ? sd[p!]! ** 2 : 0));
  const residual = second([0, 0, 0]);
  const weights = unmixingModelPlain(
    Float32Array.from([...front, ...second(front)]),
    Float32Array.from(back),
    Float32Array.from([0, 0, 0, ...residual]),
    1,
    NOISE,
  );
  const random = new RandomStream(11, 2);
  let off = 0;
  const times = 20_000;
  for (let k = 0; k < times; k += 1) {
    const a = random.uniform();
    let got = 0;
    for (let p = 0; p < 3; p += 1) {
      const f = front[p]! + sd[p]! * random.normal(),
        b = back[p]! + sd[p]! * random.normal();
      got += weights[p]! * (a * f + (1 - a) * b + Math.sqrt(NOISE) * random.normal() - back[p]!);
    }
    off += (got - a) ** 2 / times;
  }
  const both = residual.map((v) => (2 / 3) * v);
  return { off, foretold: unmixingVariance(weights, (_, f) => both[f]!, { width: 1, height: 1 }, NOISE)[0]! };
}

describe('coverage by a drawn line', () => {
  it('is a half on the line, falls to either side, and counts by how little colours tell', () => {
    expect(coverageByLine(0, 7)).toBe(0.5);
    expect(coverageByLine(7, 7)).toBe(1);
    expect(coverageByLine(-7, 7)).toBe(0);
    expect(heldToLine(0.2, 0, 0.9)).toBeCloseTo(0.2, 6);
    expect(heldToLine(0.2, 100, 0.9)).toBeCloseTo(0.9, 2);
  });

  it('foretells how far off unmixing is: little before another colour, wide before the like', () => {
    for (const [front, back, s] of [
      [[0.6, 0.5, 0.4], [0.2, 0.3, 0.15], 0.05],
      [[0.52, 0.5, 0.5], [0.48, 0.49, 0.5], 0.06],
      [[0.5, 0.45, 0.4], [0.3, 0.35, 0.4], 0.1],
    ] as const) {
      const { off, foretold } = tried(front, back, s);
      expect(foretold / off).toBeGreaterThan(0.8);
      expect(foretold / off).toBeLessThan(1.25);
    }
    // Plainly another colour: the line says next to nothing; its like: nearly all.
    expect(tried([0.6, 0.5, 0.4], [0.2, 0.3, 0.15], 0.05).foretold).toBeLessThan(0.02);
    expect(tried([0.52, 0.5, 0.5], [0.48, 0.49, 0.5], 0.06).foretold).toBeGreaterThan(0.5);
  });
});
