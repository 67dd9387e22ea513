/** The card as it would look at some parameters, and the light levels (card-levels.ts) that fit best. */
import { CARD_HEIGHT_MM, CARD_WIDTH_MM, MARKER_CENTRES, MARKER_MM } from '../../brief/card-layout.js';
import { choleskyFactor, solveWithFactor } from '../../geometry/linear-solve.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { cardWindow, coverCard, type CardCover } from './card-map.js';
import { addTriangles, LEVELS, levelRidge, levelRow, ROW, type CardShares } from './card-levels.js';
import { robustWeight } from './card-align-fit.js';
import type { AlignProblem, State } from './card-align-state.js';

/** Round the fiducials this much paper is compared, millimetres. */
const MARGIN_MM = 14;
/** Fewer pixels can't hold the levels and the geometry. */
const LEAST_PIXELS = 120;
/** Samples a pixel and side by window size: small cards need them, large ones have them. */
const samplesFor = (pixels: number): number => (pixels < 60_000 ? 4 : pixels < 200_000 ? 3 : 2);
/** Above this no more is to be learnt from a pixel: it is clipped. */
const CLIPPED = 0.97;

/**
 * What pixels weighed before: the state whose residuals tell, and their scale; none before the first prediction.
 */
export interface Before {
  readonly state: State | null;
  readonly scale: number;
}

/**
 * Prediction at parameters `p` and a blur of `sigma` pixels, with the levels that fit best under the weights of the
 * residuals before. Null where the card would stand behind the camera, be too small or far too large, or leave too few
 * pixels to compare.
 * @param map as from `cardClassMap`
 */
export function predict(
  problem: AlignProblem,
  map: Uint8Array,
  p: Float64Array,
  sigma: number,
  before: Before,
): State | null {
  const toPixel = problem.toPixel(p);
  if (toPixel === null) return null;
  const window = cardWindow(toPixel, Math.ceil(3.5 * sigma) + 2);
  if (
    window === null ||
    window.width < 12 ||
    window.height < 8 ||
    window.width > 2 * problem.width + 200 ||
    window.height > 2 * problem.height + 200
  )
    return null;
  const cover = coverCard(map, toPixel, window, samplesFor(window.width * window.height));
  if (cover === null) return null;
  const { x0, y0, width: w, height: h, ink, outside, unknown } = cover;
  for (const part of [ink, outside, unknown]) gaussianPlane(part, w, h, sigma, sigma, part);
  const places = placesOnCard(cover);
  const shares: CardShares = { ink, outside, unknown, ...places };
  const { residual, used } = comparedPixels(problem, cover, places);
  if (used < LEAST_PIXELS) return null;
  const levels = fitLevels(problem, shares, { x0, y0, w, h, residual, used }, before);
  if (levels === null) return null;
  const model = new Float32Array(w * h);
  const column = new Float64Array(ROW);
  const index = new Int32Array(ROW);
  for (let at = 0; at < w * h; at++) {
    levelRow(shares, at, column, index);
    let s = 0;
    for (let r = 0; r < ROW; r++) s += levels[index[r]!]! * column[r]!;
    model[at] = s;
    if (!Number.isNaN(residual[at]!)) {
      const y = problem.luma[(y0 + ((at / w) | 0)) * problem.width + x0 + (at % w)]!;
      residual[at] = y > CLIPPED && s > CLIPPED ? 0 : y - s;
    }
  }
  return { x0, y0, w, h, model, residual, ...shares, levels, toPixel, used };
}

/** Quarter of the card and place on it, −1..1 from edge to edge, of every pixel of the window. */
function placesOnCard({ x0, y0, width: w, height: h, toCard }: CardCover): Pick<State, 'quarter' | 'u' | 'v'> {
  const quarter = new Int8Array(w * h);
  const us = new Float32Array(w * h);
  const vs = new Float32Array(w * h);
  for (let j = 0; j < h; j++)
    for (let i = 0; i < w; i++) {
      const at = j * w + i;
      const { u, v } = millimetres(toCard, x0 + i + 0.5, y0 + j + 0.5);
      quarter[at] = (u < 0 ? 0 : 1) + (v < 0 ? 0 : 2);
      us[at] = (2 * u) / CARD_WIDTH_MM;
      vs[at] = (2 * v) / CARD_HEIGHT_MM;
    }
  return { quarter, u: us, v: vs };
}

/** Millimetres from the card's middle at a point of the picture. */
function millimetres([a, b, c, d, e, f, g, h, k]: CardCover['toCard'], x: number, y: number): { u: number; v: number } {
  const iw = 1 / (g * x + h * y + k);
  return { u: (a * x + b * y + c) * iw, v: (d * x + e * y + f) * iw };
}

/** Which pixels are compared: in the picture, on the card, on or round a fiducial. Residuals 0 there, NaN elsewhere. */
function comparedPixels(
  problem: AlignProblem,
  { x0, y0, width: w, height: h, outside, unknown, toCard }: CardCover,
  { quarter }: Pick<State, 'quarter'>,
): { residual: Float32Array; used: number } {
  const near = MARKER_MM / 2 + MARGIN_MM;
  const residual = new Float32Array(w * h).fill(NaN);
  let used = 0;
  for (let j = Math.max(0, -y0); j < Math.min(h, problem.height - y0); j++)
    for (let i = Math.max(0, -x0); i < Math.min(w, problem.width - x0); i++) {
      const at = j * w + i;
      if (outside[at]! > 0.5 || unknown[at]! > 0.2) continue;
      const { u, v } = millimetres(toCard, x0 + i + 0.5, y0 + j + 0.5);
      const marker = MARKER_CENTRES[quarter[at]!]!;
      if (Math.abs(u - marker[0]) > near || Math.abs(v - marker[1]) > near) continue;
      residual[at] = 0;
      used++;
    }
  return { residual, used };
}

/** Levels of least squares over the compared pixels; null where they are not held. */
function fitLevels(
  problem: AlignProblem,
  shares: CardShares,
  window: Pick<State, 'x0' | 'y0' | 'w' | 'h' | 'residual' | 'used'>,
  before: Before,
): Float64Array | null {
  const { x0, y0, w, h, residual, used } = window;
  const normal = new Float64Array(LEVELS * LEVELS);
  const right = new Float64Array(LEVELS);
  const column = new Float64Array(ROW);
  const index = new Int32Array(ROW);
  for (let j = 0; j < h; j++)
    for (let i = 0; i < w; i++) {
      const at = j * w + i;
      if (Number.isNaN(residual[at]!)) continue;
      const y = problem.luma[(y0 + j) * problem.width + x0 + i]!;
      const weight = weightBefore(problem, before, x0 + i, y0 + j) * (y > CLIPPED ? 0.05 : 1);
      if (weight === 0) continue;
      levelRow(shares, at, column, index);
      for (let r = 0; r < ROW; r++) {
        const ir = index[r]!;
        const wr = weight * column[r]!;
        right[ir]! += wr * y;
        for (let s = 0; s <= r; s++) normal[ir * LEVELS + index[s]!]! += wr * column[s]!;
      }
    }
  for (let i = 0; i < LEVELS; i++) normal[i * LEVELS + i]! += levelRidge(i) * used;
  addTriangles(normal, LEVELS);
  const factor = choleskyFactor(normal, LEVELS);
  return factor === null ? null : solveWithFactor(factor, right, LEVELS);
}

/** Weight of a pixel by what it was off by before, at the same place of the picture. */
function weightBefore(problem: AlignProblem, { state, scale }: Before, x: number, y: number): number {
  if (state === null || !(scale > 0)) return 1;
  const i = x - state.x0;
  const j = y - state.y0;
  if (i < 0 || j < 0 || i >= state.w || j >= state.h) return 1;
  const r = state.residual[j * state.w + i]!;
  return Number.isNaN(r) ? 1 : robustWeight(problem.loss, r / scale);
}
