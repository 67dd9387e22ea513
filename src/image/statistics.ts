/** Order statistics of planes and lists: selection, percentiles, median. */
import { PlatewrightError } from '../core/errors.js';

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

/** Several percentiles of the same values. Throws `PW-IMAGE-PERCENTILE` outside 0..100. */
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
