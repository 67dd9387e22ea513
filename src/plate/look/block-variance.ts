/**
 * What choosing blocks by their variance does to the mean of those kept. The variance of a block of grain is itself
 * uncertain, the more the coarser the grain: it follows σ² χ²(ν)/ν with ν = N² / ΣΣ ρ² (the effective degrees of
 * freedom of a variance from correlated samples: Bayley & Hammersley, "The effective number of independent observations
 * in an autocorrelated time series", JRSS Suppl. 8, 1946). Where blocks above a multiple of a low quantile are left out
 * as moving, the kept mean is too low by a factor that follows from ν alone.
 */

/** Side of a block, px (grain.ts). */
const SIDE = 16;

/**
 * Effective degrees of freedom of the variance of a 16 × 16 block, ρ(i, j) taken as
 * ρx(i) ρy(j) of the autocorrelations given by lag.
 */
export function blockFreedom(x: readonly number[], y: readonly number[]): number {
  const sum = (r: readonly number[]): number => {
    let s = SIDE;
    // Beyond the first lag that is lost in the noise nothing is left to count.
    for (let k = 1; k < r.length && r[k]! > 0.03; k++) s += 2 * (SIDE - k) * r[k]! * r[k]!;
    return s;
  };
  return SIDE ** 4 / (sum(x) * sum(y));
}

/** Regularised lower incomplete gamma function P(a, x) by its series (Abramowitz & Stegun, 6.5.29). */
function gammaShare(a: number, x: number): number {
  if (x <= 0) return 0;
  // ln Γ(a + 1) by Stirling's series at a + 8, brought down.
  let z = a + 1;
  let shift = 0;
  while (z < 8) shift += Math.log(z++);
  const lnGamma = (z - 0.5) * Math.log(z) - z + 0.9189385332046727 + 1 / (12 * z) - 1 / (360 * z ** 3) - shift;
  let term = 1;
  let sum = 1;
  for (let k = 1; k < 2000 && term > 1e-12 * sum; k++) {
    term *= x / (a + k);
    sum += term;
  }
  return Math.min(1, sum * Math.exp(-x + a * Math.log(x) - lnGamma));
}

/**
 * Mean of χ²(ν)/ν over what lies below `spread` times its own `share` quantile: 1 for fine grain (ν in the hundreds),
 * less for coarse.
 */
export function keptMean(freedom: number, share: number, spread: number): number {
  const a = freedom / 2;
  let lo = 0;
  let hi = 1;
  for (let k = 0; k < 50; k++) {
    const m = (lo + hi) / 2;
    if (gammaShare(a, a * m) < share) lo = m;
    else hi = m;
  }
  const limit = (spread * (lo + hi)) / 2;
  return gammaShare(a + 1, a * limit) / gammaShare(a, a * limit);
}
