/**
 * The samples of one pixel of the still picture (erase-mosaic.ts): their median, how far they scatter, and those that
 * no shadow darkens.
 */

/** Coded level of shade by the lit ground's that no texture laid a little askew reaches. Own choice. */
const SURELY_DARK = 0.7;

/**
 * Samples of one pixel that fall into two heaps (Otsu's split, IEEE SMC 9, 1979, well apart for their width): where the
 * darker heap lies within the reach of a shadow of what is erased, it is taken for that shadow and goes, however many
 * frames it fills. `sorted` rises; the other arrays are packed in place. Returns how many stay.
 *
 * @param certain the shadow is known to pass here: heaps need not be narrow, since its soft edge lies between them, and
 * one lit sample is enough, if they are well apart
 */
export function withoutShadow(
  sorted: Float64Array,
  value: Float64Array,
  far: Float64Array,
  index: Int32Array,
  place: Int32Array,
  k: number,
  certain = false,
): number {
  if (sorted[k - 1]! - sorted[0]! < 0.05) return k;
  let total = 0,
    squares = 0;
  for (let q = 0; q < k; q++) {
    total += sorted[q]!;
    squares += sorted[q]! * sorted[q]!;
  }
  let best = -1,
    at = 0,
    low = 0;
  for (let q = 1; q < k; q++) {
    low += sorted[q - 1]!;
    const a = low / q,
      b = (total - low) / (k - q);
    const between = q * (k - q) * (b - a) * (b - a);
    if (between > best) {
      best = between;
      at = q;
    }
  }
  let sum = 0;
  for (let q = 0; q < at; q++) sum += sorted[q]!;
  const a = sum / at,
    b = (total - sum) / (k - at);
  const within = Math.sqrt(Math.max(0, squares - at * a * a - (k - at) * b * b) / k);
  const split = 0.5 * (sorted[at - 1]! + sorted[at]!);
  const sure = certain && a < SURELY_DARK * b;
  if (b - a < Math.max(0.05, sure ? 0 : 5 * within)) return k;
  let darkFar = 0;
  for (let q = 0; q < k; q++) if (value[q]! < split) darkFar += far[q]! / at;
  // A single lit sample proves nothing; nor is it a shadow that is black, hardly darker, or out of reach.
  if (k - at < (sure ? 1 : Math.max(2, 0.08 * k)) || darkFar > 1 || a < 0.25 * b || a > 0.93 * b) return k;
  let kept = 0;
  for (let q = 0; q < k; q++) {
    if (value[q]! < split) continue;
    value[kept] = value[q]!;
    far[kept] = far[q]!;
    index[kept] = index[q]!;
    place[kept] = place[q]!;
    kept++;
  }
  return kept;
}

/**
 * Median distance from `mid` of the first k values, which rise: distances rise away from it on either side, so two
 * heaps are merged.
 */
export function medianAway(sorted: Float64Array, mid: number, k: number, away: Float64Array): number {
  let hi = 0;
  while (hi < k && sorted[hi]! < mid) hi++;
  let lo = hi - 1;
  const upTo = k >> 1;
  for (let q = 0; q <= upTo; q++) {
    if (hi >= k || (lo >= 0 && mid - sorted[lo]! < sorted[hi]! - mid)) away[q] = mid - sorted[lo--]!;
    else away[q] = sorted[hi++]! - mid;
  }
  return (k & 1) === 1 ? away[upTo]! : 0.5 * (away[upTo - 1]! + away[upTo]!);
}

/** Median of the first k values, which are left in rising order. */
export function medianInPlace(a: Float64Array, k: number): number {
  for (let i = 1; i < k; i++) {
    const v = a[i]!;
    let j = i - 1;
    while (j >= 0 && a[j]! > v) {
      a[j + 1] = a[j]!;
      j--;
    }
    a[j + 1] = v;
  }
  return (k & 1) === 1 ? a[k >> 1]! : 0.5 * (a[(k >> 1) - 1]! + a[k >> 1]!);
}
