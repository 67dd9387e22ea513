/**
 * The performer's own colour: solved under partial coverage, then freed of the screen's light.
 *
 * Colour: with α known, F minimises |I − αF − (1 − α)B|² + λ|F − μ|², so F = (α(I − (1 − α)B) + λμ) / (α² + λ), μ the
 * performer's local mean (a Gaussian prior as in Chuang et al. 2001 with an isotropic cloud).
 * Spill: a furred or skinned performer seldom is greener than the mean of its red and blue; the excess of the screen's
 * primary over that mean, in display-like (square root) light, is what the screen has lent it; with it goes the screen's share
 * of the two other primaries.
 */
import type { Picture } from '../../image/picture.js';
import type { FrameAnalysis } from './frame-analysis.js';
import { resampleCells } from './resample-cells.js';

const LAMBDA = 0.05;

export function performerColour(linear: Picture, analysis: FrameAnalysis, alpha: Float32Array, spill: number, keep: Float32Array | null, dst: Picture): void {
  const { width: w, height: h, data } = linear;
  const n = w * h;
  const { small, field } = analysis;
  const k = small.block;
  const screen = resampleCells(field.colour, { width: small.width, height: small.height }, k, w, h, 3);
  const mean = resampleCells(analysis.performer, analysis.grid, analysis.cell * k, w, h, 3);
  const out = dst.data;
  const blue = field.colour[2 * small.width * small.height]! > field.colour[small.width * small.height]!;
  const key = blue ? 2 * n : n;
  const second = blue ? n : 2 * n;
  for (let i = 0; i < n; i += 1) {
    const a = alpha[i]!;
    let r = data[i]!;
    let g = data[n + i]!;
    let b = data[2 * n + i]!;
    if (a < 1) {
      const c = 1 - a;
      const inverse = 1 / (a * a + LAMBDA * c);
      const pull = LAMBDA * c;
      r = (a * (r - c * screen[i]!) + pull * mean[i]!) * inverse;
      g = (a * (g - c * screen[n + i]!) + pull * mean[n + i]!) * inverse;
      b = (a * (b - c * screen[2 * n + i]!) + pull * mean[2 * n + i]!) * inverse;
    }
    out[i] = r < 0 ? 0 : r;
    out[n + i] = g < 0 ? 0 : g;
    out[2 * n + i] = b < 0 ? 0 : b;
    const strength = keep === null ? spill : spill * (1 - keep[i]!);
    if (strength > 0) {
      const excess = out[key + i]! - limit(out[i]!, out[second + i]!);
      if (excess > 0) {
        // Fur gives back the screen's light filtered by its own colour: of red and blue half the screen's share goes with it.
        const sr = 0.5 * screen[i]!;
        const ss = 0.5 * screen[second + i]!;
        const sk = screen[key + i]!;
        const amount = (strength * excess) / Math.max(sk - 0.5 * (sr + ss), 0.25 * sk, 1e-4);
        out[i] = Math.max(0, out[i]! - amount * sr);
        out[second + i] = Math.max(0, out[second + i]! - amount * ss);
        out[key + i] = Math.max(0, out[key + i]! - amount * sk);
      }
    }
  }
}

/** Most of the screen's primary that a performer of this red and other primary shows by itself: their mean in square-root light. */
function limit(red: number, other: number): number {
  const m = 0.5 * (Math.sqrt(red) + Math.sqrt(other));
  return m * m;
}
