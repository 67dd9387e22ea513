/**
 * MTF50 of an oversampled edge spread function (ISO 12233's slanted edge): the frequency at which the edge's contrast
 * has fallen to half.
 */

/** Samples a pixel in the edge spread function. */
export const OVER = 4;

/**
 * MTF50 (cycles/px) of an edge spread function: derivative, a window flat over its middle, transform, difference filter
 * undone.
 */
export function mtf50Of(esf: Float64Array): number {
  const n = esf.length - 1;
  const lsf = new Float64Array(n);
  let mass = 0;
  let first = 0;
  for (let k = 0; k < n; k++) {
    lsf[k] = esf[k + 1]! - esf[k]!;
    mass += lsf[k]!;
    first += lsf[k]! * k;
  }
  const centre = mass > 0 ? first / mass : n / 2;
  for (let k = 0; k < n; k++) {
    const t = (k - centre) / (n / 2);
    // Tukey's window: a full Hann would narrow the spread that it is to measure.
    const u = Math.max(0, (Math.abs(t) - 0.6) / 0.4);
    lsf[k]! *= u >= 1 ? 0 : 0.5 + 0.5 * Math.cos(Math.PI * u);
  }
  const at = (f: number): number => {
    let re = 0;
    let im = 0;
    let sum = 0;
    for (let k = 0; k < n; k++) {
      const a = (2 * Math.PI * f * k) / OVER;
      re += lsf[k]! * Math.cos(a);
      im += lsf[k]! * Math.sin(a);
      sum += lsf[k]!;
    }
    // Both the difference of neighbours and the averaging in bins of 1/OVER px act as a sinc of that width.
    const x = (Math.PI * f) / OVER;
    const sinc = x < 1e-9 ? 1 : Math.sin(x) / x;
    return Math.hypot(re, im) / Math.abs(sum) / (sinc * sinc);
  };
  let before = 1;
  for (let f = 0.005; f <= 1; f += 0.005) {
    const m = at(f);
    if (m < 0.5) return f - (0.005 * (0.5 - m)) / (before - m);
    before = m;
  }
  return 1;
}
