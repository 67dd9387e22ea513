/**
 * Curves through points of rising x, a cubic from each to the next that meets both with a given slope (Hermite's form);
 * constant beyond the ends.
 */

/** The curve with these slopes at its points; without points it is NaN everywhere. */
export function cubicCurve(
  xs: readonly number[],
  ys: readonly number[],
  slopes: readonly number[],
): (x: number) => number {
  const last = xs.length - 1;
  if (last < 0) return () => NaN;
  return (x) => {
    if (x <= xs[0]!) return ys[0]!;
    if (x >= xs[last]!) return ys[last]!;
    let i = 0;
    while (x > xs[i + 1]!) i++;
    const h = xs[i + 1]! - xs[i]!;
    const t = (x - xs[i]!) / h;
    const t2 = t * t;
    const t3 = t2 * t;
    return (
      (2 * t3 - 3 * t2 + 1) * ys[i]! +
      (t3 - 2 * t2 + t) * h * slopes[i]! +
      (-2 * t3 + 3 * t2) * ys[i + 1]! +
      (t3 - t2) * h * slopes[i + 1]!
    );
  };
}

/**
 * The curve with the slopes of parabolas through three points each: for motions that may turn round. A straight line
 * through two points, constant through one.
 */
export function smoothCubic(xs: readonly number[], ys: readonly number[]): (x: number) => number {
  const n = xs.length;
  const slope = (i: number): number => (ys[i + 1]! - ys[i]!) / (xs[i + 1]! - xs[i]!);
  if (n < 3) return cubicCurve(xs, ys, n < 2 ? [0] : [slope(0), slope(0)]);
  /** Half the second derivative of the parabola through points i, i + 1 and i + 2. */
  const bend = (i: number): number => (slope(i + 1) - slope(i)) / (xs[i + 1]! - xs[i]! + (xs[i + 2]! - xs[i + 1]!));
  const slopes = [slope(0) - bend(0) * (xs[1]! - xs[0]!)];
  for (let i = 1; i < n - 1; i++) {
    const before = xs[i]! - xs[i - 1]!;
    const after = xs[i + 1]! - xs[i]!;
    slopes.push((slope(i - 1) * after + slope(i) * before) / (before + after));
  }
  slopes.push(slope(n - 2) + bend(n - 3) * (xs[n - 1]! - xs[n - 2]!));
  return cubicCurve(xs, ys, slopes);
}

/**
 * Slopes at points of rising x with which `cubicCurve` rises and falls only as the points do: no overshoot between them
 * (F. N. Fritsch & R. E. Carlson, *Monotone Piecewise Cubic Interpolation*, SIAM J. Numer. Anal. 17, 1980). The slope
 * at a point is the weighted harmonic mean of those beside it (Brodlie's form, as in Fritsch & Butland 1984): monotone
 * without a second pass. None of one point.
 */
export function monotoneSlopes(xs: readonly number[], ys: readonly number[]): number[] {
  const n = xs.length,
    gap = (i: number): number => xs[i + 1]! - xs[i]!,
    slope = (i: number): number => (ys[i + 1]! - ys[i]!) / gap(i);
  if (n < 2) return new Array<number>(n).fill(0);
  if (n === 2) return [slope(0), slope(0)];
  const out = xs.map((_, i) => {
    if (i === 0 || i === n - 1) return 0;
    const a = slope(i - 1),
      b = slope(i),
      h0 = gap(i - 1),
      h1 = gap(i);
    return a * b <= 0 ? 0 : (3 * (h0 + h1)) / ((2 * h1 + h0) / a + (h1 + 2 * h0) / b);
  });
  out[0] = endSlope(gap(0), gap(1), slope(0), slope(1));
  out[n - 1] = endSlope(gap(n - 2), gap(n - 3), slope(n - 2), slope(n - 3));
  return out;
}

/** Of the parabola through three points, at the first of them, cut so that the curve does not overshoot. */
function endSlope(h0: number, h1: number, d0: number, d1: number): number {
  const v = ((2 * h0 + h1) * d0 - h0 * d1) / (h0 + h1);
  return v * d0 <= 0 ? 0 : d0 * d1 <= 0 && Math.abs(v) > 3 * Math.abs(d0) ? 3 * d0 : v;
}
