/**
 * Robust inverse compositional alignment of a template to a frame (Baker & Matthews 2004; robust weights as in Baker, Gross
 * & Matthews part 2, 2003): coarse to fine, with gain and bias of the light solved in every cell, Tukey weights on residuals
 * scaled by noise and slope, cells that do not look like the template dropped, and a Gaussian prior about the predicted
 * motion that only speaks where the picture is silent.
 *
 * Model: I(G (u, v)) = g_c T(u, v) + b_c + noise, with G a homography from template coordinates to frame pixels.
 */
import { choleskyFactor, solveWithFactor } from '../geometry/linear-solve.js';
import { apply, multiply, normalise, tryInvert, type Mat3, type Point2 } from '../geometry/mat3.js';
import type { LumaPyramid } from './ride-pyramid.js';
import type { RideTemplate, TemplateLevel } from './ride-template.js';

export interface AlignResult {
  readonly warp: Mat3;
  /** Share of the template's pixels that lie inside the frame. */
  readonly visible: number;
  /** Mean robust weight of those, each counted by its slope squared: flat pixels agree with anything. */
  readonly inliers: number;
  /** Weighted correlation of template and frame over the cells kept, light removed. */
  readonly correlation: number;
  /** Share of the visible slope energy that lies in cells which look like the template's (correlation over all pixels). */
  readonly agreement: number;
  /** Residual sd in luma after light. */
  readonly sigma: number;
  /** 8 × 8 information about the generators (right perturbation of the warp), prior left out. */
  readonly information: Float64Array;
  /** What the prior added: its information times the distance from the prediction, over the generators. */
  readonly pull: Float64Array;
  /** The region's light against the template's. */
  readonly light: RegionLight;
}

/** Light over a region against its template's: I = gain · T + bias + biasU · u + biasV · v, and how far cells stray from it. */
export interface RegionLight {
  readonly gain: number;
  readonly bias: number;
  readonly biasU: number;
  readonly biasV: number;
  readonly spread: number;
}

/** Working memory of one aligner; one per thread of work. */
export interface AlignScratch {
  sample: Float32Array;
  weight: Float32Array;
  pick: Float32Array;
  cells: Float64Array;
  /** Per cell Σ w j and Σ w t j over the eight generators. */
  lit: Float64Array;
}

export function createScratch(template: RideTemplate): AlignScratch {
  const n = Math.max(...template.levels.map((l) => l.count));
  return { sample: new Float32Array(n), weight: new Float32Array(n), pick: new Float32Array(n), cells: new Float64Array(template.cells * 18), lit: new Float64Array(template.cells * 18) };
}

/** Neighbouring residuals are not independent (smoothing, grain, codec): a pixel counts as this share of one. */
const INDEPENDENCE = 0.12;
const TUKEY = 4.685;

/** exp of Σ δ_k A_k over the eight generators, as a 3 × 3 matrix. */
export function generatorExp(d: ArrayLike<number>): Mat3 {
  const a: Mat3 = [d[3]! + d[4]!, d[5]! - d[2]!, d[0]!, d[5]! + d[2]!, d[3]! - d[4]!, d[1]!, d[6]!, d[7]!, 0];
  const a2 = multiply(a, a), a3 = multiply(a2, a), a4 = multiply(a2, a2);
  return a.map((v, i) => (i % 4 === 0 ? 1 : 0) + v + a2[i]! / 2 + a3[i]! / 6 + a4[i]! / 24) as unknown as Mat3;
}

/** Generator coordinates of a matrix near the identity (up to scale), to third order. */
export function generatorLog(matrix: Mat3): Float64Array {
  const m = normalise(matrix);
  const inv = tryInvert(m);
  const out = new Float64Array(8);
  if (inv === null) return out;
  const n = normalise(inv);
  // (M − M⁻¹) / 2 = sinh A after both are brought to one scale; the trace part is removed by the last entry.
  const a = m.map((v, i) => (v - n[i]!) / 2);
  const t = a[8]!;
  out[0] = a[2]!;
  out[1] = a[5]!;
  out[2] = (a[3]! - a[1]!) / 2;
  out[3] = (a[0]! + a[4]!) / 2 - t;
  out[4] = (a[0]! - a[4]!) / 2;
  out[5] = (a[1]! + a[3]!) / 2;
  out[6] = a[6]!;
  out[7] = a[7]!;
  return out;
}

/** Displacement in template units of the point (u, v) for each generator: rows u then v, 2 × 8. */
export function generatorField(u: number, v: number): Float64Array {
  return Float64Array.of(1, 0, -v, u, u, v, -u * u, -u * v, 0, 1, u, v, -v, u, -u * v, -v * v);
}

/** Pixels of the frame per template unit at the region's middle. */
export function localScale(warp: Mat3): number {
  const [x, y] = apply(warp, 0, 0);
  const [ax, ay] = apply(warp, 0.01, 0), [bx, by] = apply(warp, 0, 0.01);
  return Math.sqrt(Math.abs((ax - x) * (by - y) - (ay - y) * (bx - x))) / 0.01;
}

/** Information of a prior that expects the corners within `shapePx` of the prediction, and the whole within `shiftPx`. */
export function priorInformation(corners: readonly Point2[], pxPerUnit: number, shapePx: number, shiftPx: number): Float64Array {
  const out = new Float64Array(64);
  const mean = new Float64Array(16);
  for (const [u, v] of corners) {
    const f = generatorField(u, v);
    for (let k = 0; k < 16; k++) mean[k] = mean[k]! + f[k]! / corners.length;
  }
  const add = (f: Float64Array, w: number): void => {
    for (let r = 0; r < 2; r++) for (let a = 0; a < 8; a++) for (let b = 0; b < 8; b++) {
      out[a * 8 + b] = out[a * 8 + b]! + w * f[r * 8 + a]! * f[r * 8 + b]!;
    }
  };
  for (const [u, v] of corners) {
    const f = generatorField(u, v);
    for (let k = 0; k < 16; k++) f[k] = f[k]! - mean[k]!;
    add(f, (pxPerUnit / shapePx) ** 2);
  }
  add(mean, (pxPerUnit / shiftPx) ** 2);
  return out;
}

export interface AlignOptions {
  readonly predicted: Mat3;
  readonly prior: Float64Array;
  readonly startLevel?: number;
  readonly stopLevel?: number;
  /** Columns of the generators in use: 2, 4, 6 or 8. */
  readonly freedoms?: 2 | 4 | 6 | 8;
  /** Residual sd of a good fit, luma; bounds the scale under heavy occlusion. 0: unknown. */
  readonly usualSigma?: number;
  /** The light of a frame shortly before, if it was well seen: what differs from it by a jump is something in front. */
  readonly light?: RegionLight | null;
}

/** Aligns from `start`; null where the region leaves the frame or the fit degenerates. */
export function align(template: RideTemplate, pyramid: LumaPyramid, start: Mat3, options: AlignOptions, scratch: AlignScratch): AlignResult | null {
  let warp = normalise(start);
  const inversePredicted = tryInvert(options.predicted);
  if (inversePredicted === null) return null;
  const top = Math.min(options.startLevel ?? 99, template.levels.length - 1, pyramid.length - 1);
  const bottom = Math.min(options.stopLevel ?? 0, top);
  const most = options.freedoms ?? 8;
  const h = new Float64Array(64), g = new Float64Array(8), b = new Float64Array(8);
  let last: LevelState | null = null;
  for (let l = top; l >= bottom; l--) {
    const level = template.levels[l]!;
    const iterations = l === bottom ? 9 : l === top ? 10 : 5;
    // Few pixels cannot tell many freedoms apart: place first, then shape.
    const dims = Math.min(most, l === bottom && bottom === 0 ? 8 : level.count < 700 ? 4 : level.count < 2200 ? 6 : 8);
    const a = new Float64Array(dims * dims);
    const stopPx = (l === bottom ? 0.008 : 0.05) * (1 << l);
    for (let it = 0; it < iterations; it++) {
      // Expected leftover misalignment in level pixels: wide at first, so that edges are not taken for strangers.
      const slack = Math.max(l === bottom ? 0.06 : 0.2, (l === top ? 1 : 0.6) * 0.5 ** it);
      const state = accumulate(template, level, pyramid, warp, scratch, h, g, it === 0, options.usualSigma ?? 0, slack, options.light ?? null);
      if (state === null) { if (l < top || it > 0) break; return null; }
      last = state;
      const k = INDEPENDENCE * (1 << (2 * Math.min(2, l))) ** 0.5 / (state.sigma * state.sigma);
      const eps = generatorLog(multiply(inversePredicted, warp));
      for (let r = 0; r < dims; r++) {
        let s = k * g[r]!;
        for (let c = 0; c < 8; c++) s += options.prior[r * 8 + c]! * eps[c]!;
        b[r] = s;
        for (let c = 0; c < dims; c++) a[r * dims + c] = k * h[r * 8 + c]! + options.prior[r * 8 + c]!;
        a[r * dims + r] = a[r * dims + r]! * 1.0001 + 1e-9;
      }
      const used = l === top && it < 2 && top > bottom ? 2 : dims;
      if (used < dims) for (let r = 0; r < used; r++) for (let c = 0; c < used; c++) a[r * used + c] = a[r * dims + c]!;
      const factor = choleskyFactor(a, used);
      if (factor === null) return null;
      const d = solveWithFactor(factor, b, used);
      let move = 0;
      for (const [u, v] of template.corners) {
        const f = generatorField(u, v);
        let du = 0, dv = 0;
        for (let q = 0; q < used; q++) { du += f[q]! * d[q]!; dv += f[8 + q]! * d[q]!; }
        move = Math.max(move, Math.hypot(du, dv));
      }
      if (!Number.isFinite(move)) return null;
      const limit = 0.5;
      if (move > limit) for (let q = 0; q < used; q++) d[q] = d[q]! * limit / move;
      const delta = new Float64Array(8);
      for (let q = 0; q < used; q++) delta[q] = -d[q]!;
      warp = normalise(multiply(warp, generatorExp(delta)));
      if (it > 1 && move * localScale(warp) < stopPx) break;
    }
  }
  if (last === null || !warp.every(Number.isFinite)) return null;
  const finest = template.levels[bottom]!;
  const state = accumulate(template, finest, pyramid, warp, scratch, h, g, false, options.usualSigma ?? 0, 0.06, options.light ?? null);
  if (state === null) return null;
  const judge = template.levels[Math.min(bottom + 1, template.levels.length - 1)]!;
  const agreement = agreementAt(template, judge, pyramid, warp, scratch, state.light);
  const information = new Float64Array(64);
  const k = INDEPENDENCE * (1 << (2 * Math.min(2, bottom))) ** 0.5 / (state.sigma * state.sigma);
  for (let q = 0; q < 64; q++) information[q] = h[q]! * k;
  const eps = generatorLog(multiply(inversePredicted, warp)), pull = new Float64Array(8);
  for (let r = 0; r < 8; r++) for (let c = 0; c < 8; c++) pull[r] = pull[r]! + options.prior[r * 8 + c]! * eps[c]!;
  return { warp, pull, visible: state.visible, inliers: state.inliers, correlation: state.correlation, agreement, sigma: state.sigma, information, light: state.light };
}

/** See `AlignResult.agreement`. A cell agrees from a correlation of 0.6 on, by half at 0.5. */
function agreementAt(template: RideTemplate, level: TemplateLevel, pyramid: LumaPyramid, warp: Mat3, scratch: AlignScratch, light: RegionLight): number {
  const h = new Float64Array(64), g = new Float64Array(8);
  if (accumulate(template, level, pyramid, warp, scratch, h, g, true, 0, 0.2, light) === null) return 0;
  // The root of the energy, so that one contrasty stranger in the key frame (a pole) does not outvote the region.
  let all = 1e-12, good = 0;
  for (let c = 0; c < level.cells; c++) {
    const o = c * SLOTS;
    const e = Math.sqrt(scratch.cells[o + ENERGY]! * level.balance[c]!);
    all += e;
    good += e * Math.max(0, Math.min(1, (scratch.cells[o + CORR]! - 0.4) / 0.2));
  }
  return good / all;
}

interface LevelState {
  visible: number;
  inliers: number;
  correlation: number;
  sigma: number;
  light: RegionLight;
}

/** Cell slots: weighted n, ΣT, ΣI, ΣTT, ΣTI, ΣII; gain, bias, trust, correlation; the same sums unweighted; slope energy. */
const N = 0, ST = 1, SI = 2, STT = 3, STI = 4, SII = 5, GAIN = 6, BIAS = 7, TRUST = 8, CORR = 9;
const RN = 10, RT = 11, RI = 12, RTT = 13, RTI = 14, RII = 15, ENERGY = 16, RIDGE = 17, SLOTS = 18;

/** One linearisation: samples the frame, solves the light, weighs the residuals, sums the normal equations. */
function accumulate(template: RideTemplate, level: TemplateLevel, pyramid: LumaPyramid, warp: Mat3, scratch: AlignScratch, h: Float64Array, g: Float64Array, first: boolean, usualSigma: number, slackPx: number, expected: RegionLight | null): LevelState | null {
  const picture = pyramid[level.level]!;
  const { width: w, height: hh, data } = picture;
  const n = level.count;
  const f = 1 / (1 << level.level);
  const { u, v, value, cell, slope, jacobian, balance } = level;
  const sample = scratch.sample, weight = scratch.weight, cells = scratch.cells;
  cells.fill(0);
  const m0 = warp[0] * f, m1 = warp[1] * f, m2 = warp[2] * f, m3 = warp[3] * f, m4 = warp[4] * f, m5 = warp[5] * f, m6 = warp[6], m7 = warp[7], m8 = warp[8];
  const xMax = w - 1.001, yMax = hh - 1.001;
  let seen = 0;
  for (let i = 0; i < n; i++) {
    const a = u[i]!, b = v[i]!;
    const q = 1 / (m6 * a + m7 * b + m8);
    const x = (m0 * a + m1 * b + m2) * q - 0.5, y = (m3 * a + m4 * b + m5) * q - 0.5;
    if (!(q > 0 && x >= 0 && y >= 0 && x <= xMax && y <= yMax)) { sample[i] = -9; weight[i] = 0; continue; }
    const xi = x | 0, yi = y | 0;
    const fx = x - xi, fy = y - yi;
    const o = yi * w + xi;
    const p0 = data[o]!, p1 = data[o + w]!;
    const top = p0 + fx * (data[o + 1]! - p0), low = p1 + fx * (data[o + w + 1]! - p1);
    const s = top + fy * (low - top);
    seen++;
    // Clipped highlights and crushed blacks say nothing of the light or the place.
    if (s > 0.985 || s < 0.004) { sample[i] = -9; weight[i] = 0; continue; }
    sample[i] = s;
    const c = cell[i]! * SLOTS, t = value[i]!;
    cells[c + RN] = cells[c + RN]! + 1;
    cells[c + RT] = cells[c + RT]! + t;
    cells[c + RI] = cells[c + RI]! + s;
    cells[c + RTT] = cells[c + RTT]! + t * t;
    cells[c + RTI] = cells[c + RTI]! + t * s;
    cells[c + RII] = cells[c + RII]! + s * s;
    cells[c + ENERGY] = cells[c + ENERGY]! + slope[i]! * slope[i]!;
    const rw = first ? 1 : 0.1 + weight[i]!;
    cells[c] = cells[c]! + rw;
    cells[c + ST] = cells[c + ST]! + rw * t;
    cells[c + SI] = cells[c + SI]! + rw * s;
    cells[c + STT] = cells[c + STT]! + rw * t * t;
    cells[c + STI] = cells[c + STI]! + rw * t * s;
    cells[c + SII] = cells[c + SII]! + rw * s * s;
  }
  const visible = seen / n;
  if (seen < 30) return null;
  const light = solveLight(cells, level, expected, first);
  // Scale of the residuals from their lower half, so that up to two thirds may be hidden.
  const pick = scratch.pick;
  const stride = Math.max(1, Math.floor(n / 1500));
  let k = 0;
  for (let i = 0; i < n; i += stride) {
    const s = sample[i]!;
    if (s === -9) continue;
    const c = cell[i]! * SLOTS;
    if (cells[c + TRUST]! < 0.3) continue;
    pick[k++] = Math.abs((s - cells[c + BIAS]!) / cells[c + GAIN]! - value[i]!);
  }
  if (k < 12) return null;
  const view = pick.subarray(0, k);
  view.sort();
  let sigma = Math.max(0.0012, Math.min(view[(k * 0.5) | 0]! / 0.6745, 1.35 * view[(k * 0.3) | 0]! / 0.3853));
  if (usualSigma > 0) sigma = Math.min(sigma, 4 * usualSigma + 0.01);
  const inverse = 1 / (TUKEY * sigma);
  // Where the slope is steep, a leftover of some hundredths of a pixel outweighs the noise.
  const slopeShare = 0.06 / sigma, slopeSlack = slackPx / sigma;
  h.fill(0);
  g.fill(0);
  const lights = scratch.lit;
  lights.fill(0);
  let h00 = 0, h01 = 0, h02 = 0, h03 = 0, h04 = 0, h05 = 0, h06 = 0, h07 = 0, h11 = 0, h12 = 0, h13 = 0, h14 = 0, h15 = 0, h16 = 0, h17 = 0;
  let h22 = 0, h23 = 0, h24 = 0, h25 = 0, h26 = 0, h27 = 0, h33 = 0, h34 = 0, h35 = 0, h36 = 0, h37 = 0, h44 = 0, h45 = 0, h46 = 0, h47 = 0;
  let h55 = 0, h56 = 0, h57 = 0, h66 = 0, h67 = 0, h77 = 0;
  let g0 = 0, g1 = 0, g2 = 0, g3 = 0, g4 = 0, g5 = 0, g6 = 0, g7 = 0;
  let sumW = 0, sumSlope = 1e-12, sw = 0, swt = 0, sws = 0, swtt = 0, swts = 0, swss = 0;
  for (let i = 0; i < n; i++) {
    const s = sample[i]!;
    if (s === -9) continue;
    const c = cell[i]! * SLOTS;
    const lit = (s - cells[c + BIAS]!) / cells[c + GAIN]!;
    const r = lit - value[i]!;
    const steep = slope[i]! * slope[i]!;
    sumSlope += steep;
    const z = slopeShare * slope[i]!;
    const scale = 1 / (1 + z * z);
    const y = slopeSlack * slope[i]!;
    const e = r * inverse;
    const e2 = e * e / (1 + y * y);
    if (e2 >= 1) { weight[i] = 0; continue; }
    const robust = (1 - e2) * (1 - e2) * cells[c + TRUST]!;
    weight[i] = robust;
    sumW += robust * steep;
    const wi = robust * scale * balance[cell[i]!]!;
    const t = value[i]!;
    sw += wi; swt += wi * t; sws += wi * lit; swtt += wi * t * t; swts += wi * t * lit; swss += wi * lit * lit;
    const o = i * 8;
    const j0 = jacobian[o]!, j1 = jacobian[o + 1]!, j2 = jacobian[o + 2]!, j3 = jacobian[o + 3]!, j4 = jacobian[o + 4]!, j5 = jacobian[o + 5]!, j6 = jacobian[o + 6]!, j7 = jacobian[o + 7]!;
    const wr = wi * r, wt = wi * t, p = cell[i]! * 18;
    lights[p] = lights[p]! + wi * j0; lights[p + 1] = lights[p + 1]! + wi * j1; lights[p + 2] = lights[p + 2]! + wi * j2; lights[p + 3] = lights[p + 3]! + wi * j3;
    lights[p + 4] = lights[p + 4]! + wi * j4; lights[p + 5] = lights[p + 5]! + wi * j5; lights[p + 6] = lights[p + 6]! + wi * j6; lights[p + 7] = lights[p + 7]! + wi * j7;
    lights[p + 8] = lights[p + 8]! + wt * j0; lights[p + 9] = lights[p + 9]! + wt * j1; lights[p + 10] = lights[p + 10]! + wt * j2; lights[p + 11] = lights[p + 11]! + wt * j3;
    lights[p + 12] = lights[p + 12]! + wt * j4; lights[p + 13] = lights[p + 13]! + wt * j5; lights[p + 14] = lights[p + 14]! + wt * j6; lights[p + 15] = lights[p + 15]! + wt * j7;
    lights[p + 16] = lights[p + 16]! + wi; lights[p + 17] = lights[p + 17]! + wt;
    g0 += wr * j0; g1 += wr * j1; g2 += wr * j2; g3 += wr * j3; g4 += wr * j4; g5 += wr * j5; g6 += wr * j6; g7 += wr * j7;
    const w0 = wi * j0; h00 += w0 * j0; h01 += w0 * j1; h02 += w0 * j2; h03 += w0 * j3; h04 += w0 * j4; h05 += w0 * j5; h06 += w0 * j6; h07 += w0 * j7;
    const w1 = wi * j1; h11 += w1 * j1; h12 += w1 * j2; h13 += w1 * j3; h14 += w1 * j4; h15 += w1 * j5; h16 += w1 * j6; h17 += w1 * j7;
    const w2 = wi * j2; h22 += w2 * j2; h23 += w2 * j3; h24 += w2 * j4; h25 += w2 * j5; h26 += w2 * j6; h27 += w2 * j7;
    const w3 = wi * j3; h33 += w3 * j3; h34 += w3 * j4; h35 += w3 * j5; h36 += w3 * j6; h37 += w3 * j7;
    const w4 = wi * j4; h44 += w4 * j4; h45 += w4 * j5; h46 += w4 * j6; h47 += w4 * j7;
    const w5 = wi * j5; h55 += w5 * j5; h56 += w5 * j6; h57 += w5 * j7;
    const w6 = wi * j6; h66 += w6 * j6; h67 += w6 * j7;
    h77 += wi * j7 * j7;
  }
  if (!(sw > 0)) return null;
  const upper = [h00, h01, h02, h03, h04, h05, h06, h07, h11, h12, h13, h14, h15, h16, h17, h22, h23, h24, h25, h26, h27, h33, h34, h35, h36, h37, h44, h45, h46, h47, h55, h56, h57, h66, h67, h77];
  let at = 0;
  for (let r = 0; r < 8; r++) for (let c = r; c < 8; c++) { h[r * 8 + c] = upper[at]!; h[c * 8 + r] = upper[at++]!; }
  g.set([g0, g1, g2, g3, g4, g5, g6, g7]);
  projectLight(h, cells, lights, level.cells);
  const ct = swtt - (swt * swt) / sw, cs = swss - (sws * sws) / sw, cts = swts - (swt * sws) / sw;
  return { visible, inliers: sumW / sumSlope, correlation: cts / Math.sqrt(Math.max(1e-12, ct * cs)), sigma, light };
}

/**
 * Takes out of the normal matrix what a change of the cells' gain and bias explains as well (variable projection, Golub &
 * Pereyra 1973): without it steps are too short and the fit looks surer than it is.
 */
function projectLight(h: Float64Array, cells: Float64Array, lights: Float64Array, count: number): void {
  for (let c = 0; c < count; c++) {
    const p = c * 18, o = c * SLOTS;
    const m = lights[p + 16]!;
    if (m < 1e-6) continue;
    const mean = lights[p + 17]! / m, share = m / Math.max(1e-9, cells[o + N]!);
    const bias = 1 / (m + 2 * share), gain = 1 / (share * (cells[o + STT]! + cells[o + RIDGE]!) + 1e-12);
    for (let r = 0; r < 8; r++) {
      const a = lights[p + r]! * bias, b = (lights[p + 8 + r]! - mean * lights[p + r]!) * gain;
      for (let q = r; q < 8; q++) {
        const d = a * lights[p + q]! + b * (lights[p + 8 + q]! - mean * lights[p + q]!);
        h[r * 8 + q] = h[r * 8 + q]! - d;
        if (q !== r) h[q * 8 + r] = h[q * 8 + r]! - d;
      }
    }
  }
}

/**
 * Gain and bias of every cell, drawn towards the whole region's where a cell holds little contrast, and the trust in the
 * cell from its own correlation against the better cells'. A cell whose bias lies far off the region's (something else is
 * in front of it) is given the region's, so that what is still seen of the template in it may speak and the rest may not.
 */
function solveLight(cells: Float64Array, level: TemplateLevel, expected: RegionLight | null, first: boolean): RegionLight {
  const count = level.cells;
  let n = 0, t = 0, s = 0, within = 0, cross = 0, used = 0;
  for (let c = 0; c < count; c++) {
    const o = c * SLOTS;
    const m = cells[o + N]!;
    if (m < 1e-3) continue;
    n += m; t += cells[o + ST]!; s += cells[o + SI]!;
    const vt = Math.max(0, cells[o + STT]! - cells[o + ST]! ** 2 / m);
    const vi = Math.max(0, cells[o + SII]! - cells[o + SI]! ** 2 / m);
    const ti = cells[o + STI]! - (cells[o + ST]! * cells[o + SI]!) / m;
    cells[o + STT] = vt;
    cells[o + SII] = vi;
    cells[o + STI] = ti;
    // Every pixel has its say here: a correlation over chosen pixels would prove itself.
    const rn = cells[o + RN]!;
    const rt = cells[o + RTT]! - cells[o + RT]! ** 2 / rn, ri = cells[o + RII]! - cells[o + RI]! ** 2 / rn;
    cells[o + CORR] = rn >= 6 && rt > 0 && ri > 0 ? (cells[o + RTI]! - (cells[o + RT]! * cells[o + RI]!) / rn) / Math.sqrt(rt * ri + 1e-12) : 0;
    used++;
  }
  // The region's gain from the cells that agree with the template, so that an occluder has no say.
  const correlations: number[] = [];
  for (let c = 0; c < count; c++) if (cells[c * SLOTS + RN]! >= 6) correlations.push(cells[c * SLOTS + CORR]!);
  correlations.sort((p, q) => p - q);
  const good = correlations.length === 0 ? 0 : Math.max(0.15, correlations[(correlations.length * 0.8) | 0]!);
  for (let c = 0; c < count; c++) {
    const o = c * SLOTS;
    if (cells[o + N]! < 1e-3) continue;
    if (correlations.length === 0 || cells[o + CORR]! > 0.7 * good || cells[o + RN]! < 6) { within += cells[o + STT]!; cross += cells[o + STI]!; }
  }
  const g0 = Math.max(0.15, Math.min(6, within > 0 ? cross / within : 1));
  const ridge = 0.25 * within / Math.max(1, used);
  for (let c = 0; c < count; c++) {
    const o = c * SLOTS;
    const m = cells[o + N]!;
    cells[o + RIDGE] = ridge;
    if (m < 1e-3) { cells[o + GAIN] = g0; cells[o + TRUST] = 0; continue; }
    cells[o + GAIN] = first ? g0 : Math.max(0.4 * g0, Math.min(2.5 * g0, (cells[o + STI]! + ridge * g0) / (cells[o + STT]! + ridge + 1e-12)));
    cells[o + TRUST] = cells[o + RN]! < 6 || correlations.length < 3 ? 1 : Math.max(0, Math.min(1, (cells[o + CORR]! / good - 0.82) / 0.12));
  }
  const plane = lightPlane(cells, level, g0, expected);
  const limit = 0.04 + 4 * plane.spread;
  for (let c = 0; c < count; c++) {
    const o = c * SLOTS;
    const m = cells[o + N]!;
    const bias0 = plane.bias + plane.biasU * level.middles[2 * c]! + plane.biasV * level.middles[2 * c + 1]!;
    cells[o + BIAS] = bias0;
    if (m < 1e-3) continue;
    const own = (cells[o + SI]! - g0 * cells[o + ST]!) / m - bias0;
    if (Math.abs(own) > limit) cells[o + GAIN] = g0;
    else if (!first) cells[o + BIAS] = (cells[o + SI]! - cells[o + GAIN]! * cells[o + ST]! + 2 * bias0) / (m + 2);
  }
  return plane;
}

/** The region's bias as a plane over its cells, by weights that fall off (Geman & McClure) from what was expected or from the middle of the cells that look like the template. */
function lightPlane(cells: Float64Array, level: TemplateLevel, gain: number, expected: RegionLight | null): RegionLight {
  const count = level.cells;
  const biases = new Float64Array(count);
  const trusted: number[] = [], all: number[] = [];
  for (let c = 0; c < count; c++) {
    const o = c * SLOTS;
    if (cells[o + N]! < 1e-3) continue;
    biases[c] = (cells[o + SI]! - gain * cells[o + ST]!) / cells[o + N]!;
    all.push(biases[c]!);
    if (cells[o + TRUST]! > 0.5) trusted.push(biases[c]!);
  }
  const middle = (v: number[]): number => v.sort((a, b) => a - b)[v.length >> 1] ?? 0;
  let b = trusted.length >= 3 ? middle(trusted) : middle(all), bu = 0, bv = 0, scale = 0.15;
  if (expected !== null) {
    // The gain may have changed with the light: what was expected is carried to it through the mean of the template.
    let mean = 0, n = 0;
    for (let c = 0; c < count; c++) if (cells[c * SLOTS + N]! > 1e-3) { mean += cells[c * SLOTS + ST]!; n += cells[c * SLOTS + N]!; }
    const carried = expected.bias + (expected.gain - gain) * (mean / Math.max(1, n));
    let near = 0;
    for (const v of all) if (Math.abs(v - carried) < 0.08) near++;
    if (near >= 0.2 * all.length) { b = carried; bu = expected.biasU; bv = expected.biasV; scale = 0.06; }
  }
  let spread = 0.02;
  for (let it = 0; it < 4; it++) {
    let s = 1e-9, su = 0, sv = 0, suu = 0, suv = 0, svv = 0, sb = 0, sub = 0, svb = 0, square = 0;
    for (let c = 0; c < count; c++) {
      const o = c * SLOTS;
      const m = cells[o + N]!;
      if (m < 1e-3) continue;
      const u = level.middles[2 * c]!, v = level.middles[2 * c + 1]!;
      const e = biases[c]! - b - bu * u - bv * v;
      const w = m * (0.05 + cells[o + TRUST]!) / (1 + (e / scale) ** 2) ** 2;
      s += w; su += w * u; sv += w * v; suu += w * u * u; suv += w * u * v; svv += w * v * v;
      sb += w * biases[c]!; sub += w * u * biases[c]!; svb += w * v * biases[c]!;
      square += w * e * e;
    }
    // Slopes are drawn towards none by a third of the region's own weight.
    const cuu = suu - (su * su) / s + 0.1 * s, cvv = svv - (sv * sv) / s + 0.1 * s, cuv = suv - (su * sv) / s;
    const cub = sub - (su * sb) / s, cvb = svb - (sv * sb) / s;
    const det = cuu * cvv - cuv * cuv;
    if (det > 1e-12) { bu = (cub * cvv - cvb * cuv) / det; bv = (cvb * cuu - cub * cuv) / det; }
    b = (sb - bu * su - bv * sv) / s;
    spread = Math.min(0.08, Math.sqrt(square / s));
    scale = Math.max(0.03, Math.min(scale, 3 * spread + 0.01));
  }
  return { gain, bias: b, biasU: bu, biasV: bv, spread };
}
