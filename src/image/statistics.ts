/** Statistics over planes: moments, percentiles, histograms, robust spread. Double precision sums. */
import { PlatewrightError } from '../core/errors.js';

export interface Moments {
  readonly count: number;
  readonly mean: number;
  /** Population variance. */
  readonly variance: number;
  readonly min: number;
  readonly max: number;
}

/**
 * Mean, population variance, smallest and largest; with `mask` only where it is non-zero. Count 0 gives NaN moments.
 */
export function moments(values: ArrayLike<number>, mask?: ArrayLike<number>): Moments {
  let count = 0;
  let sum = 0;
  let min = Infinity;
  let max = -Infinity;
  for (let i = 0; i < values.length; i++) {
    if (mask !== undefined && mask[i] === 0) continue;
    const v = values[i]!;
    count++;
    sum += v;
    if (v < min) min = v;
    if (v > max) max = v;
  }
  const mean = sum / count;
  // Second pass: the one-pass formula cancels on pictures whose mean is far from zero.
  let square = 0;
  for (let i = 0; i < values.length; i++) {
    if (mask !== undefined && mask[i] === 0) continue;
    const d = values[i]! - mean;
    square += d * d;
  }
  return { count, mean, variance: square / count, min, max };
}

/** Weighted mean and variance. */
export function weightedMoments(
  values: ArrayLike<number>,
  weights: ArrayLike<number>,
): { weight: number; mean: number; variance: number } {
  let weight = 0;
  let sum = 0;
  for (let i = 0; i < values.length; i++) {
    weight += weights[i]!;
    sum += weights[i]! * values[i]!;
  }
  const mean = sum / weight;
  let square = 0;
  for (let i = 0; i < values.length; i++) {
    const d = values[i]! - mean;
    square += weights[i]! * d * d;
  }
  return { weight, mean, variance: square / weight };
}

/** Places the k-th smallest (from 0) at index k by Hoare's selection; reorders `a`. */
export function selectInPlace(a: Float32Array | Float64Array, k: number): number {
  let lo = 0;
  let hi = a.length - 1;
  while (lo < hi) {
    // Median of three as pivot: sorted input would cost n² otherwise.
    const mid = (lo + hi) >> 1;
    if (a[mid]! < a[lo]!) {
      const t = a[mid]!;
      a[mid] = a[lo]!;
      a[lo] = t;
    }
    if (a[hi]! < a[lo]!) {
      const t = a[hi]!;
      a[hi] = a[lo]!;
      a[lo] = t;
    }
    if (a[hi]! < a[mid]!) {
      const t = a[hi]!;
      a[hi] = a[mid]!;
      a[mid] = t;
    }
    const pivot = a[mid]!;
    let i = lo;
    let j = hi;
    while (i <= j) {
      while (a[i]! < pivot) i++;
      while (a[j]! > pivot) j--;
      if (i <= j) {
        const t = a[i]!;
        a[i] = a[j]!;
        a[j] = t;
        i++;
        j--;
      }
    }
    if (k <= j) hi = j;
    else if (k >= i) lo = i;
    else return a[k]!;
  }
  return a[k]!;
}

/**
 * Percentile 0..100 with linear interpolation between order statistics (Hyndman & Fan,
 * American Statistician 1996, type 7). NaN for no values.
 */
export function percentile(values: ArrayLike<number>, p: number, mask?: ArrayLike<number>): number {
  return percentiles(values, [p], mask)[0]!;
}

/** Several percentiles of the same values. */
export function percentiles(values: ArrayLike<number>, ps: readonly number[], mask?: ArrayLike<number>): number[] {
  let n = values.length;
  let a: Float64Array;
  if (mask === undefined) a = new Float64Array(values);
  else {
    a = new Float64Array(n);
    n = 0;
    for (let i = 0; i < values.length; i++) if (mask[i] !== 0) a[n++] = values[i]!;
    a = a.subarray(0, n);
  }
  for (const p of ps) {
    if (!(p >= 0 && p <= 100))
      throw new PlatewrightError('PW-IMAGE-PERCENTILE', `a percentile lies in 0..100, but ${p} was asked`, {
        kind: 'internal',
      });
  }
  if (n === 0) return ps.map(() => NaN);
  return ps.map((p) => {
    const at = (p / 100) * (n - 1);
    const k = Math.floor(at);
    const low = selectInPlace(a, k);
    if (at === k) return low;
    // After selection the rest right of k is not smaller: its least is the next order statistic.
    let high = Infinity;
    for (let i = k + 1; i < n; i++) if (a[i]! < high) high = a[i]!;
    return low + (at - k) * (high - low);
  });
}

/** The 50th percentile of the values, or of those whose mask is not 0. */
export function median(values: ArrayLike<number>, mask?: ArrayLike<number>): number {
  return percentile(values, 50, mask);
}

/** Median absolute deviation times 1.4826: standard deviation of a normal sample, robust against outliers. */
export function robustSigma(values: ArrayLike<number>, mask?: ArrayLike<number>): number {
  const m = median(values, mask);
  return (
    1.4826 *
    median(
      Float64Array.from(values, (v) => Math.abs(v - m)),
      mask,
    )
  );
}

/** Counts in `bins` equal bins over lo..hi; values beyond fall into the end bins. */
export function histogram(
  values: ArrayLike<number>,
  bins: number,
  lo = 0,
  hi = 1,
  mask?: ArrayLike<number>,
): Uint32Array {
  const out = new Uint32Array(bins);
  const k = bins / (hi - lo);
  for (let i = 0; i < values.length; i++) {
    if (mask !== undefined && mask[i] === 0) continue;
    const b = Math.floor((values[i]! - lo) * k);
    const j = b < 0 ? 0 : b >= bins ? bins - 1 : b;
    out[j] = out[j]! + 1;
  }
  return out;
}

/** Mean and covariance (row-major 3×3) of three planes, weighted. */
export function colourMoments(
  r: ArrayLike<number>,
  g: ArrayLike<number>,
  b: ArrayLike<number>,
  weights?: ArrayLike<number>,
): { weight: number; mean: [number, number, number]; covariance: Float64Array } {
  let w = 0;
  let sr = 0;
  let sg = 0;
  let sb = 0;
  for (let i = 0; i < r.length; i++) {
    const k = weights === undefined ? 1 : weights[i]!;
    w += k;
    sr += k * r[i]!;
    sg += k * g[i]!;
    sb += k * b[i]!;
  }
  const mr = sr / w;
  const mg = sg / w;
  const mb = sb / w;
  let rr = 0;
  let rg = 0;
  let rb = 0;
  let gg = 0;
  let gb = 0;
  let bb = 0;
  for (let i = 0; i < r.length; i++) {
    const k = weights === undefined ? 1 : weights[i]!;
    const x = r[i]! - mr;
    const y = g[i]! - mg;
    const z = b[i]! - mb;
    rr += k * x * x;
    rg += k * x * y;
    rb += k * x * z;
    gg += k * y * y;
    gb += k * y * z;
    bb += k * z * z;
  }
  return {
    weight: w,
    mean: [mr, mg, mb],
    covariance: Float64Array.of(rr / w, rg / w, rb / w, rg / w, gg / w, gb / w, rb / w, gb / w, bb / w),
  };
}
