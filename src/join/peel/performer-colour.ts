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
import { RowSampler } from './row-sampler.js';

const LAMBDA = 0.05;
/** Small pixels from anything that may be performer beyond which the colour is simply 0. */
const NOTHING_FROM = 8;

export function performerColour(linear: Picture, analysis: FrameAnalysis, alpha: Float32Array, spill: number, keep: Float32Array | null, dst: Picture): void {
  const { width: w, height: h, data } = linear;
  const n = w * h;
  const { small, field } = analysis;
  const k = small.block;
  const screen = new RowSampler(field.colour, small, k, w, 3);
  const mean = new RowSampler(analysis.performer, analysis.grid, analysis.cell * k, w, 3);
  const out = dst.data;
  const cells = small.width * small.height;
  const blue = field.colour[2 * cells]! > field.colour[cells]!;
  const key = blue ? 2 : 1;
  const other = blue ? 1 : 2;
  const br = screen.row;
  const bs = screen.stride;
  const mr = mean.row;
  const ms = mean.stride;
  out.fill(0);
  const from = new Int32Array(small.height);
  const to = new Int32Array(small.height);
  for (let j = 0; j < small.height; j += 1) {
    let first = small.width;
    let last = -1;
    for (let s = 0; s < small.width; s += 1) if (analysis.fromPerformer[j * small.width + s]! < NOTHING_FROM) { if (s < first) first = s; last = s; }
    from[j] = first * k;
    to[j] = (last + 1) * k;
  }
  for (let y = 0; y < h; y += 1) {
    const j = (y / k) | 0;
    // A marked polygon may hold solid pixels anywhere.
    const x0 = keep === null ? from[j]! : 0;
    const x1 = keep === null ? Math.min(to[j]!, w) : w;
    if (x1 <= x0) continue;
    screen.seek(y);
    mean.seek(y);
    for (let x = x0; x < x1; x += 1) {
      const i = y * w + x;
      const a = alpha[i]!;
      const m0 = mean.first[x]!;
      if (a <= 0) {
        // Nothing of the performer: its mean goes on, so that a filter over the edge meets no foreign colour.
        out[i] = mr[m0]!;
        out[n + i] = mr[ms + m0]!;
        out[2 * n + i] = mr[2 * ms + m0]!;
        free(out, i, n, key, other, keep === null ? spill : spill * (1 - keep[i]!), 0, 0, 1);
        continue;
      }
      let r = data[i]!;
      let g = data[n + i]!;
      let b = data[2 * n + i]!;
      const b0 = screen.first[x]!;
      const bt = screen.share[x]!;
      const sr = br[b0]! + (br[b0 + 1]! - br[b0]!) * bt;
      const sg = br[bs + b0]! + (br[bs + b0 + 1]! - br[bs + b0]!) * bt;
      const sb = br[2 * bs + b0]! + (br[2 * bs + b0 + 1]! - br[2 * bs + b0]!) * bt;
      if (a < 1) {
        const c = 1 - a;
        const inverse = 1 / (a * a + LAMBDA * c);
        const pull = LAMBDA * c;
        const mt = mean.share[x]!;
        r = (a * (r - c * sr) + pull * (mr[m0]! + (mr[m0 + 1]! - mr[m0]!) * mt)) * inverse;
        g = (a * (g - c * sg) + pull * (mr[ms + m0]! + (mr[ms + m0 + 1]! - mr[ms + m0]!) * mt)) * inverse;
        b = (a * (b - c * sb) + pull * (mr[2 * ms + m0]! + (mr[2 * ms + m0 + 1]! - mr[2 * ms + m0]!) * mt)) * inverse;
      }
      out[i] = r < 0 ? 0 : r;
      out[n + i] = g < 0 ? 0 : g;
      out[2 * n + i] = b < 0 ? 0 : b;
      free(out, i, n, key, other, keep === null ? spill : spill * (1 - keep[i]!), sr, blue ? sg : sb, blue ? sb : sg);
    }
  }
}

/** Takes the screen's light out of one pixel. `screenRed`, `screenOther`, `screenKey`: the screen's colour there. */
function free(out: Float32Array, i: number, n: number, key: number, other: number, strength: number, screenRed: number, screenOther: number, screenKey: number): void {
  const red = out[i]!;
  const second = out[other * n + i]!;
  const excess = out[key * n + i]! - limit(red, second);
  if (excess <= 0 || strength <= 0) return;
  // Fur gives back the screen's light filtered by its own colour: of red and blue half the screen's share goes with it.
  const amount = (strength * excess) / Math.max(screenKey - 0.25 * (screenRed + screenOther), 0.25 * screenKey, 1e-4);
  out[i] = Math.max(0, red - 0.5 * amount * screenRed);
  out[other * n + i] = Math.max(0, second - 0.5 * amount * screenOther);
  out[key * n + i] = Math.max(0, out[key * n + i]! - amount * screenKey);
}

/** Most of the screen's primary that a performer of this red and other primary shows by itself: their mean in square-root light. */
function limit(red: number, other: number): number {
  const m = 0.5 * (Math.sqrt(red) + Math.sqrt(other));
  return m * m;
}
