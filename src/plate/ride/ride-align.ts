/**
 * Robust inverse compositional alignment of a template to a frame (Baker & Matthews 2004; robust weights as in Baker,
 * Gross & Matthews part 2, 2003): coarse to fine, with gain and bias of the light solved in every cell, Tukey weights
 * on residuals scaled by noise and slope, cells that do not look like the template dropped, and a Gaussian prior about
 * the predicted motion that only speaks where the picture is silent.
 *
 * Model: I(G (u, v)) = g_c T(u, v) + b_c + noise, with G a homography from template coordinates to frame pixels.
 */
import { choleskyFactor, solveWithFactor } from '../../geometry/linear-solve.js';
import { multiply, normalise, tryInvert, type Mat3 } from '../../geometry/mat3.js';
import type { LumaPyramid } from './ride-pyramid.js';
import { generatorExp, generatorField, generatorLog, localScale } from './ride-generators.js';
import { withoutGrain } from './ride-grain.js';
import { BIAS, CORR, ENERGY, GAIN, SLOTS, TRUST, projectLight, solveLight, type RegionLight } from './ride-light.js';
import { residualScale } from './ride-scale.js';
import { normalEquations, sampleCells, type AlignScratch } from './ride-sums.js';
import type { RideTemplate, TemplateLevel } from './ride-template.js';

export interface AlignResult {
  readonly warp: Mat3;
  /** Share of the template's pixels that lie inside the frame. */
  readonly visible: number;
  /** Mean robust weight of those, each counted by its slope squared: flat pixels agree with anything. */
  readonly inliers: number;
  /** Weighted correlation of template and frame over the cells kept, light removed. */
  readonly correlation: number;
  /**
   * Share of the visible slope energy that lies in cells which look like the template's (correlation over all pixels).
   */
  readonly agreement: number;
  /** Residual sd in luma after light. */
  readonly sigma: number;
  /** 8 × 8 information about the generators (right perturbation of the warp), prior left out. */
  readonly information: Float64Array;
  /** The same with the key frame's grain taken out: what the texture alone says. */
  readonly texture: Float64Array;
  /** What the prior added: its information times the distance from the prediction, over the generators. */
  readonly pull: Float64Array;
  /** The region's light against the template's. */
  readonly light: RegionLight;
}

/** Neighbouring residuals are not independent (smoothing, grain, codec): a pixel counts as this share of one. */
const INDEPENDENCE = 0.12;
const TUKEY = 4.685;
/** A step is the last whose squared length is this share of the fit's own variance along it: a twentieth of its sd. */
const LAST_STEP = 0.0025;

export interface AlignOptions {
  readonly predicted: Mat3;
  readonly prior: Float64Array;
  readonly startLevel?: number;
  readonly stopLevel?: number;
  /** How far (level px) the start may be off; 1 unless told. */
  readonly slackPx?: number;
  /** Columns of the generators in use: 2, 4, 6 or 8. */
  readonly freedoms?: 2 | 4 | 6 | 8;
  /** Residual sd of a good fit, luma; bounds the scale under heavy occlusion. 0: unknown. */
  readonly usualSigma?: number;
  /** The light of a frame shortly before, if it was well seen: what differs from it by a jump is something in front. */
  readonly light?: RegionLight | null;
}

/** Aligns from `start`; null where the region leaves the frame or the fit degenerates. */
export function align(
  template: RideTemplate,
  pyramid: LumaPyramid,
  start: Mat3,
  options: AlignOptions,
  scratch: AlignScratch,
): AlignResult | null {
  let warp = normalise(start);
  const inversePredicted = tryInvert(options.predicted);
  if (inversePredicted === null) return null;
  const top = Math.min(options.startLevel ?? 99, template.levels.length - 1, pyramid.length - 1);
  const bottom = Math.min(options.stopLevel ?? 0, top);
  const most = options.freedoms ?? 8;
  const h = scratch.out;
  const b = new Float64Array(8);
  const fields = template.corners.map(([u, v]) => generatorField(u, v));
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
      const slack = Math.max(l === bottom ? 0.06 : 0.2, (l === top ? (options.slackPx ?? 1) : 0.6) * 0.5 ** it);
      const state = accumulate(
        level,
        pyramid,
        warp,
        scratch,
        it === 0,
        options.usualSigma ?? 0,
        slack,
        options.light ?? null,
      );
      if (state === null) {
        if (l < top || it > 0) break;
        return null;
      }
      last = state;
      const k = (INDEPENDENCE * (1 << (2 * Math.min(2, l))) ** 0.5) / (state.sigma * state.sigma);
      const eps = generatorLog(multiply(inversePredicted, warp));
      for (let r = 0; r < dims; r++) {
        let s = k * h[64 + r]!;
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
      for (const f of fields) {
        let du = 0;
        let dv = 0;
        for (let q = 0; q < used; q++) {
          du += f[q]! * d[q]!;
          dv += f[8 + q]! * d[q]!;
        }
        move = Math.max(move, Math.hypot(du, dv));
      }
      if (!Number.isFinite(move)) return null;
      const limit = 0.5;
      if (move > limit) for (let q = 0; q < used; q++) d[q] = (d[q]! * limit) / move;
      const delta = new Float64Array(8);
      for (let q = 0; q < used; q++) delta[q] = -d[q]!;
      warp = normalise(multiply(warp, generatorExp(delta)));
      let gain = 0;
      for (let q = 0; q < used; q++) gain += d[q]! * b[q]!;
      if (it > 1 && (move * localScale(warp) < stopPx || (used === dims && gain < LAST_STEP))) break;
    }
  }
  if (last === null || !warp.every(Number.isFinite)) return null;
  const finest = template.levels[bottom]!;
  const state = accumulate(finest, pyramid, warp, scratch, false, options.usualSigma ?? 0, 0.06, options.light ?? null);
  if (state === null) return null;
  const information = new Float64Array(64);
  const k = (INDEPENDENCE * (1 << (2 * Math.min(2, bottom))) ** 0.5) / (state.sigma * state.sigma);
  for (let q = 0; q < 64; q++) information[q] = h[q]! * k;
  const texture = withoutGrain(information, finest, template.scale, state.sigma, k, scratch);
  const judge = template.levels[Math.min(bottom + 1, template.levels.length - 1)]!;
  const agreement = agreementAt(template, judge, pyramid, warp, scratch, state.light);
  const eps = generatorLog(multiply(inversePredicted, warp));
  const pull = new Float64Array(8);
  for (let r = 0; r < 8; r++) for (let c = 0; c < 8; c++) pull[r] = pull[r]! + options.prior[r * 8 + c]! * eps[c]!;
  return {
    warp,
    pull,
    visible: state.visible,
    inliers: state.inliers,
    correlation: state.correlation,
    agreement,
    sigma: state.sigma,
    information,
    texture,
    light: state.light,
  };
}

/** See `AlignResult.agreement`. A cell agrees from a correlation of 0.6 on, by half at 0.5. */
function agreementAt(
  template: RideTemplate,
  level: TemplateLevel,
  pyramid: LumaPyramid,
  warp: Mat3,
  scratch: AlignScratch,
  light: RegionLight,
): number {
  if (accumulate(level, pyramid, warp, scratch, true, 0, 0.2, light) === null) return 0;
  // The root of the energy, so that one contrasty stranger in the key frame (a pole) does not outvote the region.
  let all = 1e-12;
  let good = 0;
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

/** One linearisation: samples the frame, solves the light, weighs the residuals, sums the normal equations. */
function accumulate(
  level: TemplateLevel,
  pyramid: LumaPyramid,
  warp: Mat3,
  scratch: AlignScratch,
  first: boolean,
  usualSigma: number,
  slackPx: number,
  expected: RegionLight | null,
): LevelState | null {
  const f = 1 / (1 << level.level);
  for (let k = 0; k < 9; k++) scratch.matrix[k] = k < 6 ? warp[k]! * f : warp[k]!;
  const seen = sampleCells(level, pyramid[level.level]!, scratch, first);
  if (seen < 30) return null;
  const { cells, out } = scratch;
  const light = solveLight(cells, level, expected, first);
  let sigma = residualScale(level, scratch);
  if (sigma === null) return null;
  if (usualSigma > 0) sigma = Math.min(sigma, 4 * usualSigma + 0.01);
  // Where the slope is steep, a leftover of some hundredths of a pixel outweighs the noise.
  scratch.numbers[0] = 1 / (TUKEY * sigma);
  scratch.numbers[1] = 0.06 / sigma;
  scratch.numbers[2] = slackPx / sigma;
  for (let c = 0; c < level.cells; c++) {
    const o = c * SLOTS;
    scratch.light[4 * c] = cells[o + GAIN]!;
    scratch.light[4 * c + 1] = cells[o + BIAS]!;
    scratch.light[4 * c + 2] = cells[o + TRUST]!;
    scratch.light[4 * c + 3] = level.balance[c]!;
  }
  normalEquations(level, scratch);
  const sw = out[74]!;
  if (!(sw > 0)) return null;
  for (let r = 1; r < 8; r++) for (let c = 0; c < r; c++) out[r * 8 + c] = out[c * 8 + r]!;
  projectLight(out, cells, scratch.lit, level.cells);
  const swt = out[75]!;
  const sws = out[76]!;
  const ct = out[77]! - (swt * swt) / sw;
  const cs = out[79]! - (sws * sws) / sw;
  const cts = out[78]! - (swt * sws) / sw;
  return {
    visible: seen / level.count,
    inliers: out[72]! / (out[73]! + 1e-12),
    correlation: cts / Math.sqrt(Math.max(1e-12, ct * cs)),
    sigma,
    light,
  };
}
