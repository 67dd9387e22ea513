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
/** No step moves a corner further than this, in template units. */
const LONGEST_STEP = 0.5;

export interface AlignOptions {
  /** Template coordinates to pixels: where the fit starts, and what the prior holds it to. */
  readonly predicted: Mat3;
  /** 8 × 8 information of the prediction about the generators; zeros: none. */
  readonly prior: Float64Array;
  /** Coarsest and finest level of the pyramid that is used; all unless told. */
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

/** What stays the same over one alignment. */
interface Alignment {
  readonly template: RideTemplate;
  readonly pyramid: LumaPyramid;
  readonly options: AlignOptions;
  readonly scratch: AlignScratch;
  readonly inversePredicted: Mat3;
  /** Coarsest and finest level used. */
  readonly top: number;
  readonly bottom: number;
  /** How the template's corners move by each generator. */
  readonly cornerFields: readonly Float64Array[];
}

/** Aligns from `start`; null where the region leaves the frame or the fit degenerates. */
export function align(
  template: RideTemplate,
  pyramid: LumaPyramid,
  start: Mat3,
  options: AlignOptions,
  scratch: AlignScratch,
): AlignResult | null {
  const inversePredicted = tryInvert(options.predicted);
  if (inversePredicted === null) return null;
  const top = Math.min(options.startLevel ?? 99, template.levels.length - 1, pyramid.length - 1);
  const bottom = Math.min(options.stopLevel ?? 0, top);
  const cornerFields = template.corners.map(([u, v]) => generatorField(u, v));
  const alignment: Alignment = { template, pyramid, options, scratch, inversePredicted, top, bottom, cornerFields };
  let warp: Mat3 | null = normalise(start);
  for (let l = top; l >= bottom && warp !== null; l--) warp = alignLevel(alignment, warp, l);
  return warp === null || !warp.every(Number.isFinite) ? null : judge(alignment, warp);
}

/** Gauss-Newton steps on one level; null where there is nothing to go on. */
function alignLevel(alignment: Alignment, start: Mat3, l: number): Mat3 | null {
  const { template, pyramid, options, scratch, top, bottom } = alignment;
  const level = template.levels[l]!;
  const iterations = l === bottom ? 9 : l === top ? 10 : 5;
  const most = options.freedoms ?? 8;
  // Few pixels cannot tell many freedoms apart: place first, then shape.
  const dims = Math.min(most, l === bottom && bottom === 0 ? 8 : level.count < 700 ? 4 : level.count < 2200 ? 6 : 8);
  const stopPx = (l === bottom ? 0.008 : 0.05) * (1 << l);
  let warp = start;
  for (let it = 0; it < iterations; it++) {
    const state = accumulate({
      level,
      pyramid,
      warp,
      scratch,
      first: it === 0,
      usualSigma: options.usualSigma ?? 0,
      // Expected leftover misalignment in level pixels: wide at first, so that edges are not taken for strangers.
      slackPx: Math.max(l === bottom ? 0.06 : 0.2, (l === top ? (options.slackPx ?? 1) : 0.6) * 0.5 ** it),
      expected: options.light ?? null,
    });
    if (state === null) return l < top || it > 0 ? warp : null;
    const used = l === top && it < 2 && top > bottom ? 2 : dims;
    const step = stepFrom(alignment, warp, pixelWeight(l, state.sigma), dims, used);
    if (step === null) return null;
    warp = normalise(multiply(warp, generatorExp(step.delta)));
    if (it > 1 && (step.move * localScale(warp) < stopPx || (used === dims && step.gain < LAST_STEP))) break;
  }
  return warp;
}

/** What a pixel of a level weighs in the information: its share of a free one over the residuals' variance. */
function pixelWeight(level: number, sigma: number): number {
  return (INDEPENDENCE * (1 << (2 * Math.min(2, level))) ** 0.5) / (sigma * sigma);
}

/**
 * One step by the normal equations just summed and the prior, over the first `used` generators; null where they
 * degenerate.
 * @param weight of a pixel in the information
 * @returns the step, how far it moves a corner (template units, before it is limited), and what it gains in the cost
 */
function stepFrom(
  { options, scratch, inversePredicted, cornerFields }: Alignment,
  warp: Mat3,
  weight: number,
  dims: number,
  used: number,
): { readonly delta: Float64Array; readonly move: number; readonly gain: number } | null {
  const h = scratch.out;
  const a = new Float64Array(dims * dims);
  const b = new Float64Array(8);
  const eps = generatorLog(multiply(inversePredicted, warp));
  for (let r = 0; r < dims; r++) {
    let s = weight * h[64 + r]!;
    for (let c = 0; c < 8; c++) s += options.prior[r * 8 + c]! * eps[c]!;
    b[r] = s;
    for (let c = 0; c < dims; c++) a[r * dims + c] = weight * h[r * 8 + c]! + options.prior[r * 8 + c]!;
    a[r * dims + r] = a[r * dims + r]! * 1.0001 + 1e-9;
  }
  if (used < dims) for (let r = 0; r < used; r++) for (let c = 0; c < used; c++) a[r * used + c] = a[r * dims + c]!;
  const factor = choleskyFactor(a, used);
  if (factor === null) return null;
  const d = solveWithFactor(factor, b, used);
  let move = 0;
  for (const f of cornerFields) {
    let du = 0;
    let dv = 0;
    for (let q = 0; q < used; q++) {
      du += f[q]! * d[q]!;
      dv += f[8 + q]! * d[q]!;
    }
    move = Math.max(move, Math.hypot(du, dv));
  }
  if (!Number.isFinite(move)) return null;
  if (move > LONGEST_STEP) for (let q = 0; q < used; q++) d[q] = (d[q]! * LONGEST_STEP) / move;
  const delta = new Float64Array(8);
  let gain = 0;
  for (let q = 0; q < used; q++) {
    delta[q] = -d[q]!;
    gain += d[q]! * b[q]!;
  }
  return { delta, move, gain };
}

/** What is known of a warp once it is found: read on the finest level used, its agreement on the one above. */
function judge(alignment: Alignment, warp: Mat3): AlignResult | null {
  const { template, pyramid, options, scratch, inversePredicted, bottom } = alignment;
  const finest = template.levels[bottom]!;
  const state = accumulate({
    level: finest,
    pyramid,
    warp,
    scratch,
    first: false,
    usualSigma: options.usualSigma ?? 0,
    slackPx: 0.06,
    expected: options.light ?? null,
  });
  if (state === null) return null;
  const information = new Float64Array(64);
  const weight = pixelWeight(bottom, state.sigma);
  for (let q = 0; q < 64; q++) information[q] = scratch.out[q]! * weight;
  const texture = withoutGrain(information, finest, template.scale, state.sigma, weight, scratch);
  const coarser = template.levels[Math.min(bottom + 1, template.levels.length - 1)]!;
  const agreement = agreementAt(coarser, pyramid, warp, scratch, state.light);
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
  level: TemplateLevel,
  pyramid: LumaPyramid,
  warp: Mat3,
  scratch: AlignScratch,
  light: RegionLight,
): number {
  const sums = { level, pyramid, warp, scratch, first: true, usualSigma: 0, slackPx: 0.2, expected: light };
  if (accumulate(sums) === null) return 0;
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

interface Linearisation {
  readonly level: TemplateLevel;
  readonly pyramid: LumaPyramid;
  readonly warp: Mat3;
  readonly scratch: AlignScratch;
  /** The level's first: pixels are chosen and the cells' gains not yet their own. */
  readonly first: boolean;
  readonly usualSigma: number;
  readonly slackPx: number;
  readonly expected: RegionLight | null;
}

/** One linearisation: samples the frame, solves the light, weighs the residuals, sums the normal equations. */
function accumulate(of: Linearisation): LevelState | null {
  const { level, pyramid, warp, scratch, first, usualSigma, slackPx, expected } = of;
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
