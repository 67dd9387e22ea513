/**
 * Direct alignment of the known print: geometry, blur and light levels that make the predicted card equal to the
 * picture, by Gauss-Newton with Levenberg-Marquardt damping on linear-light intensities (Lucas & Kanade, IJCAI 1981, in
 * the forward additive form of Baker & Matthews, "Lucas-Kanade 20 Years On", IJCV 2004). Blur lies in the model, so it
 * moves no edge; a peg, a ball, shadows and hands are outliers of a robust loss (Huber far away, Tukey near).
 * The levels are linear: paper, ink and surroundings with a part of their own for each quarter of the card, a gradient
 * of the light, unpredicted print, and one term in paper · ink for a tone curve that was not undone exactly.
 */
import { cardClassMap, CARD_HEIGHT_MM, CARD_WIDTH_MM, MARKER_CENTRES, MARKER_MM } from '../brief/card-layout.js';
import { choleskyFactor, solveWithFactor } from '../geometry/linear-solve.js';
import type { Mat3 } from '../geometry/mat3.js';
import { gaussianPlane } from '../image/gaussian.js';
import { cardWindow, coverCard } from './card-map.js';
import { parameterCovariance, robustScale, robustWeight, solveNormal } from './card-align-fit.js';

export interface AlignProblem {
  /** Linear luma, height × width. */
  readonly luma: Float32Array;
  readonly width: number;
  readonly height: number;
  readonly start: ArrayLike<number>;
  /** Card millimetres → pixels at some parameters; null where they make no sense. */
  readonly toPixel: (p: Float64Array) => Mat3 | null;
  /** Step of each parameter for the differences: about what moves the card by a hundredth of a pixel to a tenth. */
  readonly steps: ArrayLike<number>;
  /** Start of the blur, pixels, standard deviation. */
  readonly sigmaPx: number;
  /** Known blur that was put on `luma` beside: no smaller blur is fitted. */
  readonly leastSigmaPx: number;
  readonly loss: 'huber' | 'tukey';
  readonly maxIterations: number;
  /** Weak knowledge of parameters: (p − mean) / sd joins the residuals. */
  readonly prior?: { readonly index: number; readonly mean: number; readonly sd: number };
}

export interface Alignment {
  readonly parameters: Float64Array;
  readonly toPixel: Mat3;
  readonly sigmaPx: number;
  /** Of the parameters (without the blur), from the fit's own scatter; row-major. Null where they are not held. */
  readonly covariance: Float64Array | null;
  /** Share of the picture's variance on and round the fiducials that the prediction explains, 0..1. */
  readonly explained: number;
  /** Linear luma of paper and of ink. */
  readonly paper: number;
  readonly ink: number;
  /** Robust scale of the residuals, linear luma. */
  readonly noise: number;
  /** Pixels compared. */
  readonly pixels: number;
  /** Correlation of picture and prediction on each fiducial, NaN where it is out of the picture. */
  readonly markerCorrelation: readonly number[];
  /** The same within its border, on the 4 × 4 cells that tell it from any other dark square. */
  readonly bitCorrelation: readonly number[];
}

/** Round the fiducials this much paper is compared, millimetres. */
const MARGIN_MM = 14;
const LEVELS = 19;
/** Samples a pixel and side by window size: small cards need them, large ones have them. */
const samplesFor = (pixels: number): number => (pixels < 60_000 ? 4 : pixels < 200_000 ? 3 : 2);
/** Above this no more is to be learnt from a pixel: it is clipped. */
const CLIPPED = 0.97;

interface State {
  readonly x0: number;
  readonly y0: number;
  readonly w: number;
  readonly h: number;
  /** Predicted linear luma, and the residual (NaN where not compared). */
  readonly model: Float32Array;
  readonly residual: Float32Array;
  readonly ink: Float32Array;
  readonly outside: Float32Array;
  readonly unknown: Float32Array;
  readonly quarter: Int8Array;
  readonly u: Float32Array;
  readonly v: Float32Array;
  readonly levels: Float64Array;
  readonly toPixel: Mat3;
  readonly used: number;
}

/**
 * Aligns the card from a start within about a fiducial's cell (plus blur). Null where
 * it leaves the picture or nothing is held.
 */
export function alignCard(o: AlignProblem): Alignment | null {
  const map = cardClassMap();
  const n = o.start.length;
  let p = Float64Array.from(o.start as ArrayLike<number>);
  let sigma = Math.max(o.leastSigmaPx, o.sigmaPx);
  let state = predict(o, map, p, sigma, null, 0);
  if (state === null) return null;
  let scale = robustScale(state.residual);
  // Once more with weights: the first levels were plain least squares.
  state = predict(o, map, p, sigma, state, scale) ?? state;
  scale = robustScale(state.residual);
  let lambda = 1e-3;
  let hessian: Float64Array | null = null;
  for (let iteration = 0; iteration < o.maxIterations; iteration++) {
    const normal = normalEquations(o, state, p, sigma, scale);
    if (normal === null) return null;
    hessian = normal.a;
    const before = cost(o, state.residual, scale, p);
    let moved = false;
    let small = false;
    for (let tries = 0; tries < 6; tries++) {
      const step = solveNormal(normal.a, normal.b, n + 1 + LEVELS, lambda);
      if (step === null) {
        lambda *= 10;
        continue;
      }
      const q = Float64Array.from(p, (v, i) => v + step[i]!);
      const s = Math.max(o.leastSigmaPx, Math.min(12, sigma * Math.exp(Math.max(-0.5, Math.min(0.5, step[n]!)))));
      const next = predict(o, map, q, s, state, scale);
      if (next !== null && next.used > 0.6 * state.used) {
        const after = cost(o, next.residual, scale, q);
        if (after < before) {
          small = before - after < 5e-5 * before;
          p = q;
          sigma = s;
          state = next;
          moved = true;
          lambda = Math.max(1e-6, lambda / 5);
          break;
        }
      }
      lambda *= 6;
    }
    if (!moved) break;
    const newScale = robustScale(state.residual);
    // The scale may shrink as the fit gets better, but not while that would throw away half the card.
    scale = Math.max(newScale, 0.5 * scale);
    if (small && newScale > 0.9 * scale) break;
  }
  if (hessian === null) return null;
  const last = normalEquations(o, state, p, sigma, scale);
  const covariance = last === null ? null : parameterCovariance(last.a, n, n + 1 + LEVELS, scale);
  return { parameters: p, toPixel: state.toPixel, sigmaPx: sigma, covariance, noise: scale, ...summary(o, state) };
}

/** Prediction at some parameters, with the levels that fit best under the weights of `like`'s residuals. */
function predict(
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
function columnsOf(
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

function normalEquations(
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

function cost(o: AlignProblem, residual: Float32Array, scale: number, p: Float64Array): number {
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

function summary(
  o: AlignProblem,
  s: State,
): Pick<Alignment, 'explained' | 'paper' | 'ink' | 'pixels' | 'markerCorrelation' | 'bitCorrelation'> {
  let n = 0;
  let sy = 0;
  let syy = 0;
  let sr = 0;
  const sums = (): { n: number; y: number; m: number; yy: number; mm: number; ym: number } => ({
    n: 0,
    y: 0,
    m: 0,
    yy: 0,
    mm: 0,
    ym: 0,
  });
  const whole = MARKER_CENTRES.map(sums);
  const bits = MARKER_CENTRES.map(sums);
  const add = (q: ReturnType<typeof sums>, y: number, m: number): void => {
    q.n++;
    q.y += y;
    q.m += m;
    q.yy += y * y;
    q.mm += m * m;
    q.ym += y * m;
  };
  for (let at = 0; at < s.residual.length; at++) {
    const r = s.residual[at]!;
    if (Number.isNaN(r)) continue;
    const m = s.model[at]!;
    const y = m + r;
    const k = s.quarter[at]!;
    n++;
    sy += y;
    syy += y * y;
    sr += r * r;
    add(whole[k]!, y, m);
    const far = Math.max(
      Math.abs((s.u[at]! * CARD_WIDTH_MM) / 2 - MARKER_CENTRES[k]![0]),
      Math.abs((s.v[at]! * CARD_HEIGHT_MM) / 2 - MARKER_CENTRES[k]![1]),
    );
    if (far < MARKER_MM / 3) add(bits[k]!, y, m);
  }
  const variance = syy - (sy * sy) / Math.max(1, n);
  const correlation = (q: ReturnType<typeof sums>, least: number): number =>
    q.n < least
      ? NaN
      : (q.ym - (q.y * q.m) / q.n) / Math.sqrt(Math.max(1e-12, (q.yy - q.y ** 2 / q.n) * (q.mm - q.m ** 2 / q.n)));
  return {
    explained: variance > 0 ? 1 - sr / variance : 0,
    paper: s.levels[0]!,
    ink: s.levels[1]!,
    pixels: n,
    markerCorrelation: whole.map((q) => correlation(q, 0.06 * s.used)),
    bitCorrelation: bits.map((q) => correlation(q, 0.02 * s.used)),
  };
}
