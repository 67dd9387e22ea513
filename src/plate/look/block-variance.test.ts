/** The kept mean and the free samples of a block against closed forms of χ² and of a Gaussian correlation. */
import { describe, expect, it } from 'vitest';
import { blockFreedom, keptMean } from './block-variance.js';

describe('variance of a block of grain', () => {
  it('has the mean below a limit that the closed form of two degrees of freedom gives', () => {
    // χ²(2)/2 is exponential: quantile −ln(1 − p), mean below c is 1 − c e^−c / (1 − e^−c).
    const c = -2 * Math.log(1 - 0.35);
    expect(keptMean(2, 0.35, 2)).toBeCloseTo(1 - (c * Math.exp(-c)) / (1 - Math.exp(-c)), 6);
  });
  it('loses nothing where the grain is fine', () => {
    const white = [1, 0, 0, 0, 0, 0, 0, 0];
    expect(blockFreedom(white, white)).toBe(256);
    expect(keptMean(256, 0.35, 2)).toBeGreaterThan(0.999);
  });
  it('counts fewer free samples the coarser the grain', () => {
    // ρ = exp(−d²/4s²): ΣΣρ² over a large block is N · 2πs².
    const rho = (s: number): number[] => Array.from({ length: 8 }, (_, d) => Math.exp((-d * d) / (4 * s * s)));
    const s = 1;
    const expected = 256 / (2 * Math.PI * s * s);
    expect(blockFreedom(rho(s), rho(s)) / expected).toBeGreaterThan(0.95);
    expect(blockFreedom(rho(s), rho(s)) / expected).toBeLessThan(1.3);
    expect(blockFreedom(rho(2), rho(2))).toBeLessThan(blockFreedom(rho(1), rho(1)) / 2.5);
  });
});
