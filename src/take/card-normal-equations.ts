/**
 * One Gauss-Newton step of the card's alignment: normal equations over geometry, blur
 * and light levels, and the robust cost.
 */
import { CARD_HEIGHT_MM, CARD_WIDTH_MM } from '../brief/card-layout.js';
import { robustWeight } from './card-align-fit.js';
import type { AlignProblem, State } from './card-align-state.js';
import { LEVELS, columnsOf } from './card-predict.js';

export function normalEquations(
  o: AlignProblem,
  s: State,
  p: Float64Array,
  sigma: number,
  scale: number,
): { a: Float64Array; b: Float64Array } | null {
  const n = p.length;
  const total = n + 1 + LEVELS;
  const a = new Float64Array(total * total);
  const b = new Float64Array(total);
  // Change of the homography with each parameter.
  const change = new Float64Array(9 * n);
  for (let k = 0; k < n; k++) {
    const step = o.steps[k]!;
    const up = Float64Array.from(p);
    const down = Float64Array.from(p);
    up[k]! += step;
    down[k]! -= step;
    const hu = o.toPixel(up);
    const hd = o.toPixel(down);
    if (hu === null || hd === null) return null;
    for (let i = 0; i < 9; i++) change[9 * k + i] = (hu[i]! - hd[i]!) / (2 * step);
  }
  const H = s.toPixel;
  const row = new Float64Array(n + 1 + 10);
  const where = new Int32Array(n + 1 + 10);
  const column = new Float64Array(LEVELS);
  const index = new Int32Array(LEVELS);
  for (let k = 0; k <= n; k++) where[k] = k;
  const { w, h, model } = s;
  for (let j = 1; j < h - 1; j++)
    for (let i = 1; i < w - 1; i++) {
      const at = j * w + i;
      const r = s.residual[at]!;
      if (Number.isNaN(r)) continue;
      const weight = robustWeight(o.loss, r / scale);
      if (weight < 1e-4) continue;
      const gx = (model[at + 1]! - model[at - 1]!) / 2;
      const gy = (model[at + w]! - model[at - w]!) / 2;
      const laplacian = model[at + 1]! + model[at - 1]! + model[at + w]! + model[at - w]! - 4 * model[at]!;
      const u = (s.u[at]! * CARD_WIDTH_MM) / 2;
      const v = (s.v[at]! * CARD_HEIGHT_MM) / 2;
      const X = s.x0 + i + 0.5;
      const Y = s.y0 + j + 0.5;
      const iw = 1 / (H[6] * u + H[7] * v + H[8]);
      for (let k = 0; k < n; k++) {
        const c = 9 * k;
        const dw = change[c + 6]! * u + change[c + 7]! * v + change[c + 8]!;
        const dx = (change[c]! * u + change[c + 1]! * v + change[c + 2]! - X * dw) * iw;
        const dy = (change[c + 3]! * u + change[c + 4]! * v + change[c + 5]! - Y * dw) * iw;
        row[k] = -(gx * dx + gy * dy);
      }
      // d/d ln σ of a Gaussian blur: σ² times the Laplacian.
      row[n] = sigma * sigma * laplacian;
      const cols = columnsOf(
        s.ink[at]!,
        s.outside[at]!,
        s.unknown[at]!,
        s.quarter[at]!,
        s.u[at]!,
        s.v[at]!,
        column,
        index,
      );
      for (let k = 0; k < cols; k++) {
        row[n + 1 + k] = column[k]!;
        where[n + 1 + k] = n + 1 + index[k]!;
      }
      const count = n + 1 + cols;
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
    const ridge = (i < 3 ? 1e-6 : i === 18 ? 0.02 : 0.004) * s.used;
    a[d * total + d]! += ridge;
    b[d]! -= ridge * s.levels[i]!;
  }
  if (o.prior !== undefined) {
    const { index: k, mean, sd } = o.prior;
    const wp = (scale * scale) / (sd * sd);
    a[k * total + k]! += wp;
    b[k]! += wp * (mean - p[k]!);
  }
  for (let i = 0; i < total; i++)
    for (let j = 0; j < i; j++) {
      const t = a[i * total + j]! + a[j * total + i]!;
      a[i * total + j] = t;
      a[j * total + i] = t;
    }
  return { a, b };
}

export function cost(o: AlignProblem, residual: Float32Array, scale: number, p: Float64Array): number {
  let sum = 0;
  let n = 0;
  for (let i = 0; i < residual.length; i++) {
    const r = residual[i]!;
    if (Number.isNaN(r)) continue;
    n++;
    const t = Math.abs(r / scale);
    if (o.loss === 'huber') sum += t <= 1.345 ? t * t : 2 * 1.345 * t - 1.345 * 1.345;
    else {
      const q = t >= 4.685 ? 0 : 1 - (t / 4.685) ** 2;
      sum += ((4.685 * 4.685) / 3) * (1 - q * q * q);
    }
  }
  const extra = o.prior === undefined ? 0 : ((p[o.prior.index]! - o.prior.mean) / o.prior.sd) ** 2 / Math.max(1, n);
  return sum / Math.max(1, n) + extra;
}
