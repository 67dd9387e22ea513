/**
 * Symmetric positive definite band systems: L D Lᵀ factorisation within the band (Golub & Van Loan, *Matrix
 * Computations*, 4th ed., section 4.3.5), solution, and the entries of the inverse inside the band (K.
 * Takahashi, J. Fagan & M.-S. Chin, *Formation of a Sparse Bus Impedance Matrix*, 1973), which give the
 * covariances of neighbouring unknowns. Storage: row i holds its `band` entries left of the diagonal and the
 * diagonal: a[i · (band + 1) + (band + j − i)] = A(i, j).
 */
export interface BandFactor {
  readonly n: number;
  readonly band: number;
  /** Unit lower factor in the entries left of the diagonal, D on the diagonal. */
  readonly l: Float64Array;
}

/** Factor of A, or null where A is not positive definite. `a` is left as it is. */
export function factorBand(a: Float64Array, n: number, band: number): BandFactor | null {
  const w = band + 1;
  const l = Float64Array.from(a.subarray(0, n * w));
  for (let i = 0; i < n; i++) {
    const from = Math.max(0, i - band);
    const oi = i * w + band - i;
    for (let j = from; j < i; j++) {
      const oj = j * w + band - j;
      let s = l[oi + j]!;
      for (let k = Math.max(from, j - band); k < j; k++) s -= l[oi + k]! * l[oj + k]! * l[k * w + band]!;
      l[oi + j] = s / l[j * w + band]!;
    }
    let d = l[i * w + band]!;
    for (let k = from; k < i; k++) d -= l[oi + k]! * l[oi + k]! * l[k * w + band]!;
    if (!(d > 0) || !Number.isFinite(d)) return null;
    l[i * w + band] = d;
  }
  return { n, band, l };
}

/** Solves A x = b. */
export function solveBand(f: BandFactor, b: Float64Array): Float64Array {
  const { n, band, l } = f;
  const w = band + 1;
  const x = Float64Array.from(b.subarray(0, n));
  for (let i = 0; i < n; i++) {
    const o = i * w + band - i;
    let s = x[i]!;
    for (let k = Math.max(0, i - band); k < i; k++) s -= l[o + k]! * x[k]!;
    x[i] = s;
  }
  for (let i = 0; i < n; i++) x[i] = x[i]! / l[i * w + band]!;
  for (let i = n - 1; i >= 0; i--) {
    const s = x[i]!;
    const o = i * w + band - i;
    for (let k = Math.max(0, i - band); k < i; k++) x[k] = x[k]! - l[o + k]! * s;
  }
  return x;
}

/** Entries of A⁻¹ inside the band, stored as A is. */
export function inverseInBand(f: BandFactor): Float64Array {
  const { n, band, l } = f;
  const w = band + 1;
  const z = new Float64Array(n * w);
  const at = (i: number, j: number): number => (i >= j ? i * w + band + j - i : j * w + band + i - j);
  for (let j = n - 1; j >= 0; j--) {
    const last = Math.min(n - 1, j + band);
    for (let i = last; i >= j; i--) {
      let s = i === j ? 1 / l[j * w + band]! : 0;
      for (let k = j + 1; k <= last; k++) s -= z[at(i, k)]! * l[k * w + band + j - k]!;
      z[at(i, j)] = s;
    }
  }
  return z;
}
