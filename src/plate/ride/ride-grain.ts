/** Grain in a key frame: how strong it is, and what it does to the information of a fit. */
import { choleskyFactor, invertSymmetric } from '../../geometry/linear-solve.js';
import { generatorField } from './ride-generators.js';
import type { AlignScratch } from './ride-sums.js';
import type { TemplateLevel } from './ride-template.js';

/**
 * Information of a fit without the key frame's grain, whose gradients look like texture but say nothing of the place.
 * With H = S + N (texture and grain) the fit's covariance is S⁻¹ H S⁻¹ (W. Fuller, *Measurement Error Models*, 1987,
 * ch. 1): N from the residual's variance, of which the template's share is known (half for one frame), and the ratio of
 * gradient to value variance of white grain after the pyramid's own smoothing, 5/12 an axis. It is 8 × 8 as
 * `information`, which was `k` times the normal matrix in `scratch`.
 */
export function withoutGrain(
  information: Float64Array,
  level: TemplateLevel,
  scale: number,
  sigma: number,
  k: number,
  scratch: AlignScratch,
): Float64Array {
  const grain = new Float64Array(64);
  const unit = scale / (1 << level.level);
  for (let c = 0; c < level.cells; c++) {
    const m = scratch.lit[c * 18 + 16]! * k * (5 / 12) * level.grainShare * sigma * sigma * unit * unit;
    if (m === 0) continue;
    const f = generatorField(level.middles[2 * c]!, level.middles[2 * c + 1]!);
    for (let r = 0; r < 8; r++)
      for (let q = 0; q < 8; q++) grain[r * 8 + q] = grain[r * 8 + q]! + m * (f[r]! * f[q]! + f[8 + r]! * f[8 + q]!);
  }
  const inverse = invertSymmetric(information, 8);
  const texture = new Float64Array(64);
  const half = new Float64Array(64);
  const out = new Float64Array(64);
  if (inverse === null) return out;
  // Where grain seems to explain all of a direction, less of it is taken off: what is left must stay positive.
  let share = 1;
  for (; share > 0.05; share *= 0.8) {
    for (let q = 0; q < 64; q++) texture[q] = information[q]! - share * grain[q]!;
    if (choleskyFactor(texture, 8) !== null) break;
  }
  for (let r = 0; r < 8; r++)
    for (let c = 0; c < 8; c++)
      for (let q = 0; q < 8; q++) half[r * 8 + c] = half[r * 8 + c]! + texture[r * 8 + q]! * inverse[q * 8 + c]!;
  for (let r = 0; r < 8; r++)
    for (let c = 0; c < 8; c++)
      for (let q = 0; q < 8; q++) out[r * 8 + c] = out[r * 8 + c]! + half[r * 8 + q]! * texture[q * 8 + c]!;
  return out;
}

/**
 * sd of the grain in luma about a region: the lower third of |second differences both ways| (J. Immerkær, *Fast Noise
 * Variance Estimation*, CVIU 64, 1996, with a quantile in place of the mean, so that edges have no say).
 */
export function grainIn(
  luma: Float32Array,
  w: number,
  h: number,
  polygon: readonly (readonly [number, number])[],
): number {
  const xs = polygon.map((p) => p[0]);
  const ys = polygon.map((p) => p[1]);
  const x0 = Math.max(1, Math.floor(Math.min(...xs)));
  const x1 = Math.min(w - 2, Math.ceil(Math.max(...xs)));
  const y0 = Math.max(1, Math.floor(Math.min(...ys)));
  const y1 = Math.min(h - 2, Math.ceil(Math.max(...ys)));
  const values: number[] = [];
  const step = Math.max(1, Math.floor(Math.sqrt(((x1 - x0) * (y1 - y0)) / 4000)));
  for (let y = y0; y <= y1; y += step)
    for (let x = x0; x <= x1; x += step) {
      const o = y * w + x;
      const v =
        luma[o - w - 1]! -
        2 * luma[o - w]! +
        luma[o - w + 1]! -
        2 * luma[o - 1]! +
        4 * luma[o]! -
        2 * luma[o + 1]! +
        luma[o + w - 1]! -
        2 * luma[o + w]! +
        luma[o + w + 1]!;
      values.push(Math.abs(v));
    }
  values.sort((a, b) => a - b);
  // A third of a normal variable's magnitudes lie under 0.43 sd; the mask's own sd is six times the grain's.
  return (values[Math.floor(values.length / 3)] ?? 0) / 0.4307 / 6;
}
