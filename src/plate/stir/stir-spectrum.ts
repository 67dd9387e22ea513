/**
 * The rate of a sway: the highest peak of the periodogram (Scargle, ApJ 263, 1982) summed over series of one length.
 */

export interface Peak {
  /** Cycles a frame. */
  readonly rate: number;
  /** Cycles in all that was seen. */
  readonly swings: number;
  /** Height over the middle of the spectrum; 0 where there is none. */
  readonly stands: number;
}

/**
 * From one cycle in the shot to half the frame rate.
 * @param series `T` samples each across and down, px; summed along the axis whose cosine and sine are given
 */
export function periodogram(
  series: readonly { readonly x: Float64Array; readonly y: Float64Array }[],
  T: number,
  ca: number,
  sa: number,
): Peak {
  const bins = Math.max(8, T * 2);
  const power = new Float64Array(bins);
  for (let k = 0; k < bins; k++) {
    const f = (0.5 * (k + 1)) / bins;
    if (f * T < 0.9) continue;
    for (const s of series) {
      let re = 0;
      let im = 0;
      for (let t = 0; t < T; t++) {
        const v = s.x[t]! * ca + s.y[t]! * sa;
        re += v * Math.cos(2 * Math.PI * f * t);
        im += v * Math.sin(2 * Math.PI * f * t);
      }
      power[k]! += (re * re + im * im) / T;
    }
  }
  let peak = 0;
  for (let k = 1; k < bins; k++) if (power[k]! > power[peak]!) peak = k;
  const sorted = [...power].filter((v) => v > 0).sort((p, q) => p - q);
  const middle = sorted[sorted.length >> 1] ?? 0;
  const stands = middle > 0 ? power[peak]! / middle : 0;
  return { rate: (0.5 * (peak + 1)) / bins, swings: (0.5 * (peak + 1) * T) / bins, stands };
}
