import { describe, expect, it } from 'vitest';
import { RandomStream } from '../core/random.js';
import { factorBand, inverseInBand, solveBand } from './banded.js';
import { invertSymmetric, solveCholesky } from './linear-solve.js';

/** A random band matrix, dense and in band storage. */
function example(n: number, band: number): { dense: Float64Array; stored: Float64Array } {
  const rng = new RandomStream(3);
  const dense = new Float64Array(n * n);
  const stored = new Float64Array(n * (band + 1));
  for (let i = 0; i < n; i++)
    for (let j = Math.max(0, i - band); j <= i; j++) {
      const v = i === j ? 2 * band + 1 + rng.uniform() : rng.normal();
      dense[i * n + j] = v;
      dense[j * n + i] = v;
      stored[i * (band + 1) + band + j - i] = v;
    }
  return { dense, stored };
}

describe('band systems', () => {
  const n = 19;
  const band = 5;
  const { dense, stored } = example(n, band);
  it('solves as the dense factorisation does', () => {
    const b = Float64Array.from({ length: n }, (_, i) => Math.sin(i));
    const x = solveBand(factorBand(stored, n, band)!, b);
    const y = solveCholesky(dense, b, n)!;
    for (let i = 0; i < n; i++) expect(x[i]).toBeCloseTo(y[i]!, 12);
  });
  it('gives the entries of the inverse inside the band', () => {
    const z = inverseInBand(factorBand(stored, n, band)!);
    const full = invertSymmetric(dense, n)!;
    for (let i = 0; i < n; i++)
      for (let j = Math.max(0, i - band); j <= i; j++)
        expect(z[i * (band + 1) + band + j - i]).toBeCloseTo(full[i * n + j]!, 12);
  });
  it('refuses what is not positive definite', () => {
    expect(factorBand(Float64Array.of(0, 1, 2, 1), 2, 1)).toBeNull();
  });
});
