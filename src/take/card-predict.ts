/**
 * The card as it would look at some parameters, and the light levels that fit best: paper, ink and surroundings with a
 * part of their own for each quarter of the card, a gradient of the light, unpredicted print, and one term in
 * paper · ink for a tone curve that was not undone exactly.
 */
import { CARD_HEIGHT_MM, CARD_WIDTH_MM, MARKER_CENTRES, MARKER_MM } from '../brief/card-layout.js';
import { choleskyFactor, solveWithFactor } from '../geometry/linear-solve.js';
import { gaussianPlane } from '../image/gaussian.js';
import { cardWindow, coverCard } from './card-map.js';
import { robustWeight } from './card-align-fit.js';
import type { AlignProblem, State } from './card-align-state.js';

/** Round the fiducials this much paper is compared, millimetres. */
const MARGIN_MM = 14;
export const LEVELS = 19;
/** Samples a pixel and side by window size: small cards need them, large ones have them. */
const samplesFor = (pixels: number): number => (pixels < 60_000 ? 4 : pixels < 200_000 ? 3 : 2);
/** Above this no more is to be learnt from a pixel: it is clipped. */
const CLIPPED = 0.97;

/** Prediction at some parameters, with the levels that fit best under the weights of `like`'s residuals. */
export function predict(
  o: AlignProblem,
  map: Uint8Array,
  p: Float64Array,
  sigma: number,
  like: State | null,
  scale: number,
): State | null {
  const toPixel = o.toPixel(p);
  if (toPixel === null) return null;
  const window = cardWindow(toPixel, Math.ceil(3.5 * sigma) + 2);
  if (
    window === null ||
    window.width < 12 ||
    window.height < 8 ||
    window.width > 2 * o.width + 200 ||
    window.height > 2 * o.height + 200
  )
    return null;
  const cover = coverCard(map, toPixel, window, samplesFor(window.width * window.height));
  if (cover === null) return null;
  const { x0, y0, width: w, height: h } = cover;
  const N = w * h;
  for (const part of [cover.ink, cover.outside, cover.unknown]) gaussianPlane(part, w, h, sigma, sigma, part);
  const residual = new Float32Array(N).fill(NaN);
  const model = new Float32Array(N);
  const quarter = new Int8Array(N);
  const us = new Float32Array(N);
  const vs = new Float32Array(N);
  const [a, b, c, d, e, f, g, hh, k] = cover.toCard;
  const near = MARKER_MM / 2 + MARGIN_MM;
  const A = new Float64Array(LEVELS * LEVELS);
  const B = new Float64Array(LEVELS);
  const column = new Float64Array(LEVELS);
  const index = new Int32Array(LEVELS);
  let used = 0;
  for (let j = 0; j < h; j++) {
    const Y = y0 + j;
    for (let i = 0; i < w; i++) {
      const X = x0 + i;
      const at = j * w + i;
      const px = X + 0.5;
      const py = Y + 0.5;
      const iw = 1 / (g * px + hh * py + k);
      const u = (a * px + b * py + c) * iw;
      const v = (d * px + e * py + f) * iw;
      const q = (u < 0 ? 0 : 1) + (v < 0 ? 0 : 2);
      quarter[at] = q;
      us[at] = (2 * u) / CARD_WIDTH_MM;
      vs[at] = (2 * v) / CARD_HEIGHT_MM;
      if (X < 0 || Y < 0 || X >= o.width || Y >= o.height) continue;
      if (cover.outside[at]! > 0.5 || cover.unknown[at]! > 0.2) continue;
      const m = MARKER_CENTRES[q]!;
      if (Math.abs(u - m[0]) > near || Math.abs(v - m[1]) > near) continue;
      const y = o.luma[Y * o.width + X]!;
      residual[at] = 0;
      used++;
      // Weight by what the pixel was off by before, at the same place of the picture.
      let weight = 1;
      if (like !== null && scale > 0) {
        const li = X - like.x0;
        const lj = Y - like.y0;
        const r = li >= 0 && lj >= 0 && li < like.w && lj < like.h ? like.residual[lj * like.w + li]! : NaN;
        if (!Number.isNaN(r)) weight = robustWeight(o.loss, r / scale);
      }
      if (y > CLIPPED) weight *= 0.05;
      if (weight === 0) continue;
      const cols = columnsOf(
        cover.ink[at]!,
        cover.outside[at]!,
        cover.unknown[at]!,
        q,
        us[at]!,
        vs[at]!,
        column,
        index,
      );
      for (let r = 0; r < cols; r++) {
        const ir = index[r]!;
        const wr = weight * column[r]!;
        B[ir]! += wr * y;
        for (let s = 0; s <= r; s++) A[ir * LEVELS + index[s]!]! += wr * column[s]!;
      }
    }
  }
  if (used < 120) return null;
  // The quarters' own parts and the small terms are held to zero as a hundredth of the pixels would.
  for (let i = 0; i < LEVELS; i++) {
    A[i * LEVELS + i]! += (i < 3 ? 1e-6 : i === 18 ? 0.02 : 0.004) * used;
    for (let j = 0; j < i; j++) {
      const s = A[i * LEVELS + j]! + A[j * LEVELS + i]!;
      A[i * LEVELS + j] = s;
      A[j * LEVELS + i] = s;
    }
  }
  const factor = choleskyFactor(A, LEVELS);
  if (factor === null) return null;
  const levels = solveWithFactor(factor, B, LEVELS);
  for (let at = 0; at < N; at++) {
    const cols = columnsOf(
      cover.ink[at]!,
      cover.outside[at]!,
      cover.unknown[at]!,
      quarter[at]!,
      us[at]!,
      vs[at]!,
      column,
      index,
    );
    let s = 0;
    for (let r = 0; r < cols; r++) s += levels[index[r]!]! * column[r]!;
    model[at] = s;
    if (!Number.isNaN(residual[at]!)) {
      const y = o.luma[(y0 + ((at / w) | 0)) * o.width + x0 + (at % w)]!;
      residual[at] = y > CLIPPED && s > CLIPPED ? 0 : y - s;
    }
  }
  return {
    x0,
    y0,
    w,
    h,
    model,
    residual,
    ink: cover.ink,
    outside: cover.outside,
    unknown: cover.unknown,
    quarter,
    u: us,
    v: vs,
    levels,
    toPixel,
    used,
  };
}

/** Non-zero columns of a pixel's row of the linear model; returns how many. */
export function columnsOf(
  ink: number,
  outside: number,
  unknown: number,
  q: number,
  u: number,
  v: number,
  column: Float64Array,
  index: Int32Array,
): number {
  const paper = Math.max(0, 1 - ink - outside - unknown);
  column[0] = paper;
  index[0] = 0;
  column[1] = ink;
  index[1] = 1;
  column[2] = outside;
  index[2] = 2;
  column[3] = paper;
  index[3] = 3 + q;
  column[4] = ink;
  index[4] = 7 + q;
  column[5] = outside;
  index[5] = 11 + q;
  column[6] = paper * u;
  index[6] = 15;
  column[7] = paper * v;
  index[7] = 16;
  column[8] = unknown;
  index[8] = 17;
  column[9] = 4 * paper * ink;
  index[9] = 18;
  return 10;
}
