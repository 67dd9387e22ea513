/**
 * A series freed of noise by local parabolas (A. Savitzky & M. Golay, Smoothing and differentiation of data by
 * simplified least squares procedures, Analytical Chemistry 36, 1964).
 */

/** Frames either side of the parabola that tells noise from what is smooth: a fifth of a second at 24 a second. */
const SMOOTHED = 5;

/** Each value from the parabola through its neighbours, by least squares; fewer than four are left as they are. */
export function parabolas(v: readonly number[]): number[] {
  const n = v.length;
  if (n < 4) return [...v];
  return v.map((_, i) => {
    const from = Math.max(0, i - SMOOTHED),
      to = Math.min(n - 1, i + SMOOTHED);
    let s0 = 0,
      s1 = 0,
      s2 = 0,
      s3 = 0,
      s4 = 0,
      b0 = 0,
      b1 = 0,
      b2 = 0;
    for (let j = from; j <= to; j++) {
      const x = j - i,
        y = v[j]!,
        xx = x * x;
      s0 += 1;
      s1 += x;
      s2 += xx;
      s3 += xx * x;
      s4 += xx * xx;
      b0 += y;
      b1 += y * x;
      b2 += y * xx;
    }
    // Cramer's rule for the value at x = 0.
    const det = s0 * (s2 * s4 - s3 * s3) - s1 * (s1 * s4 - s3 * s2) + s2 * (s1 * s3 - s2 * s2);
    return Math.abs(det) < 1e-9
      ? v[i]!
      : (b0 * (s2 * s4 - s3 * s3) - s1 * (b1 * s4 - s3 * b2) + s2 * (b1 * s3 - s2 * b2)) / det;
  });
}
