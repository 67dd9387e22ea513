/**
 * One Gauss-Newton step of the card's alignment: normal equations over geometry, blur
 * and light levels, and the robust cost.
 */
import { CARD_HEIGHT_MM, CARD_WIDTH_MM } from '../../brief/card-layout.js';
import { robustWeight } from './card-align-fit.js';
import type { AlignProblem, State } from './card-align-state.js';
import { addTriangles, LEVELS, levelRidge, levelRow, ROW } from './card-levels.js';

/**
 * Jᵀ W J and Jᵀ W r at a state, over the n parameters of `p`, ln σ of the blur, and the light levels, in this order;
 * null where the card can't be seen at a step beside `p`.
 * @param scale robust scale of the residuals, linear luma
 */
export function normalEquations(
  problem: AlignProblem,
  state: State,
  p: Float64Array,
  sigma: number,
  scale: number,
): { a: Float64Array; b: Float64Array } | null {
  const change = homographyChange(problem, p);
  if (change === null) return null;
  const n = p.length;
  const total = n + 1 + LEVELS;
  const a = new Float64Array(total * total);
  const b = new Float64Array(total);
  const count = n + 1 + ROW;
  const row = new Float64Array(count);
  const where = new Int32Array(count);
  // The levels' columns of a row stand behind those of the geometry and the blur.
  const column = row.subarray(n + 1);
  const level = where.subarray(n + 1);
  for (let k = 0; k <= n; k++) where[k] = k;
  const { w, h, model } = state;
  for (let j = 1; j < h - 1; j++)
    for (let i = 1; i < w - 1; i++) {
      const at = j * w + i;
      const r = state.residual[at]!;
      if (Number.isNaN(r)) continue;
      const weight = robustWeight(problem.loss, r / scale);
      if (weight < 1e-4) continue;
      geometryRow(state, change, i, j, row);
      const laplacian = model[at + 1]! + model[at - 1]! + model[at + w]! + model[at - w]! - 4 * model[at]!;
      // d/d ln σ of a Gaussian blur: σ² times the Laplacian.
      row[n] = sigma * sigma * laplacian;
      levelRow(state, at, column, level);
      for (let k = 0; k < ROW; k++) level[k]! += n + 1;
      for (let k = 0; k < count; k++) {
        const wk = weight * row[k]!;
        const o1 = where[k]! * total;
        if (wk === 0) continue;
        b[where[k]!]! += wk * r;
        for (let l = 0; l <= k; l++) a[o1 + where[l]!]! += wk * row[l]!;
      }
    }
  for (let i = 0; i < LEVELS; i++) {
    const d = n + 1 + i;
    const ridge = levelRidge(i) * state.used;
    a[d * total + d]! += ridge;
    b[d]! -= ridge * state.levels[i]!;
  }
  if (problem.prior !== undefined) {
    const { index: k, mean, sd } = problem.prior;
    const wp = (scale * scale) / (sd * sd);
    a[k * total + k]! += wp;
    b[k]! += wp * (mean - p[k]!);
  }
  addTriangles(a, total);
  return { a, b };
}

/** Change of the homography's nine numbers with each parameter, by central differences: 9 · parameters. */
function homographyChange(problem: AlignProblem, p: Float64Array): Float64Array | null {
  const change = new Float64Array(9 * p.length);
  for (let k = 0; k < p.length; k++) {
    const step = problem.steps[k]!;
    const up = Float64Array.from(p);
    const down = Float64Array.from(p);
    up[k]! += step;
    down[k]! -= step;
    const above = problem.toPixel(up);
    const below = problem.toPixel(down);
    if (above === null || below === null) return null;
    for (let i = 0; i < 9; i++) change[9 * k + i] = (above[i]! - below[i]!) / (2 * step);
  }
  return change;
}

/** Change of the prediction at pixel (i, j) of the window with each parameter of the geometry: row[0..n − 1]. */
function geometryRow(state: State, change: Float64Array, i: number, j: number, row: Float64Array): void {
  const { w, model, toPixel: H } = state;
  const at = j * w + i;
  const gx = (model[at + 1]! - model[at - 1]!) / 2;
  const gy = (model[at + w]! - model[at - w]!) / 2;
  const u = (state.u[at]! * CARD_WIDTH_MM) / 2;
  const v = (state.v[at]! * CARD_HEIGHT_MM) / 2;
  const X = state.x0 + i + 0.5;
  const Y = state.y0 + j + 0.5;
  const iw = 1 / (H[6] * u + H[7] * v + H[8]);
  for (let k = 0, c = 0; c < change.length; k++, c += 9) {
    const dw = change[c + 6]! * u + change[c + 7]! * v + change[c + 8]!;
    const dx = (change[c]! * u + change[c + 1]! * v + change[c + 2]! - X * dw) * iw;
    const dy = (change[c + 3]! * u + change[c + 4]! * v + change[c + 5]! - Y * dw) * iw;
    row[k] = -(gx * dx + gy * dy);
  }
}

/** Where the losses bend, in robust scales: 95 % efficiency under Gaussian noise (Huber 1.345, Tukey 4.685). */
const HUBER = 1.345;
const TUKEY = 4.685;

/** Mean robust loss a pixel, with the prior's part. */
export function cost(problem: AlignProblem, residual: Float32Array, scale: number, p: Float64Array): number {
  let sum = 0;
  let n = 0;
  for (let i = 0; i < residual.length; i++) {
    const r = residual[i]!;
    if (Number.isNaN(r)) continue;
    n++;
    const t = Math.abs(r / scale);
    if (problem.loss === 'huber') sum += t <= HUBER ? t * t : 2 * HUBER * t - HUBER * HUBER;
    else {
      const q = t >= TUKEY ? 0 : 1 - (t / TUKEY) ** 2;
      sum += ((TUKEY * TUKEY) / 3) * (1 - q * q * q);
    }
  }
  const extra =
    problem.prior === undefined
      ? 0
      : ((p[problem.prior.index]! - problem.prior.mean) / problem.prior.sd) ** 2 / Math.max(1, n);
  return sum / Math.max(1, n) + extra;
}
