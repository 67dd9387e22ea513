/**
 * The light over a ride's region: gain and bias of each cell against the template's, the
 * region's as a plane over them, and how a fit's normal matrix is freed of what a change of
 * light explains as well. Sums a cell come from ride-sums.ts.
 */
import type { TemplateLevel } from './ride-template.js';

/**
 * Light over a region against its template's: I = gain · T + bias + biasU · u + biasV · v, and how far cells stray from
 * it.
 */
export interface RegionLight {
  readonly gain: number;
  readonly bias: number;
  readonly biasU: number;
  readonly biasV: number;
  readonly spread: number;
}

/**
 * Cell slots: weighted n, ΣT, ΣI, ΣTT, ΣTI, ΣII; gain, bias, trust, correlation; the same sums unweighted; slope
 * energy.
 */
export const N = 0,
  ST = 1,
  SI = 2,
  STT = 3,
  STI = 4,
  SII = 5,
  GAIN = 6,
  BIAS = 7,
  TRUST = 8,
  CORR = 9;
export const RN = 10,
  RT = 11,
  RI = 12,
  RTT = 13,
  RTI = 14,
  RII = 15,
  ENERGY = 16,
  RIDGE = 17,
  SLOTS = 18;

/**
 * Takes out of the normal matrix what a change of the cells' gain and bias explains as well (variable projection, Golub
 * & Pereyra 1973): without it steps are too short and the fit looks surer than it is.
 */
export function projectLight(h: Float64Array, cells: Float64Array, lights: Float64Array, count: number): void {
  for (let c = 0; c < count; c++) {
    const p = c * 18;
    const o = c * SLOTS;
    const m = lights[p + 16]!;
    if (m < 1e-6) continue;
    const mean = lights[p + 17]! / m;
    const share = m / Math.max(1e-9, cells[o + N]!);
    const bias = 1 / (m + 2 * share);
    const gain = 1 / (share * (cells[o + STT]! + cells[o + RIDGE]!) + 1e-12);
    for (let r = 0; r < 8; r++) {
      const a = lights[p + r]! * bias;
      const b = (lights[p + 8 + r]! - mean * lights[p + r]!) * gain;
      for (let q = r; q < 8; q++) {
        const d = a * lights[p + q]! + b * (lights[p + 8 + q]! - mean * lights[p + q]!);
        h[r * 8 + q] = h[r * 8 + q]! - d;
        if (q !== r) h[q * 8 + r] = h[q * 8 + r]! - d;
      }
    }
  }
}

/**
 * Gain and bias of every cell, drawn towards the whole region's where a cell holds little contrast, and
 * the trust in the cell from its own correlation against the better cells'. A cell whose bias lies far
 * off the region's (something else is in front of it) is given the region's, so that what is still seen
 * of the template in it may speak and the rest may not.
 */
export function solveLight(
  cells: Float64Array,
  level: TemplateLevel,
  expected: RegionLight | null,
  first: boolean,
): RegionLight {
  const used = cellContrasts(cells, level.cells);
  const region = regionGain(cells, level);
  const ridge = (0.25 * region.within) / Math.max(1, used);
  for (let c = 0; c < level.cells; c++) {
    const o = c * SLOTS;
    cells[o + RIDGE] = ridge;
    if (cells[o + N]! < LEAST_SEEN) {
      cells[o + GAIN] = region.gain;
      cells[o + TRUST] = 0;
      continue;
    }
    cells[o + GAIN] = first ? region.gain : cellGain(cells, o, level.grain, region.gain, ridge);
    cells[o + TRUST] =
      cells[o + RN]! < 6 || region.judged < 3
        ? 1
        : Math.max(0, Math.min(1, (cells[o + CORR]! / region.good - 0.82) / 0.12));
  }
  const plane = lightPlane(cells, level, region.gain, expected);
  cellBiases(cells, level, plane, first);
  return plane;
}

/** A cell of which less than this was seen says nothing. */
const LEAST_SEEN = 1e-3;

/**
 * Sums of each cell about its means, in place, and its correlation with the template; how many cells were seen.
 */
function cellContrasts(cells: Float64Array, count: number): number {
  let used = 0;
  for (let c = 0; c < count; c++) {
    const o = c * SLOTS;
    const m = cells[o + N]!;
    if (m < LEAST_SEEN) continue;
    const vt = Math.max(0, cells[o + STT]! - cells[o + ST]! ** 2 / m);
    const vi = Math.max(0, cells[o + SII]! - cells[o + SI]! ** 2 / m);
    const ti = cells[o + STI]! - (cells[o + ST]! * cells[o + SI]!) / m;
    cells[o + STT] = vt;
    cells[o + SII] = vi;
    cells[o + STI] = ti;
    // Every pixel has its say here: a correlation over chosen pixels would prove itself.
    const rn = cells[o + RN]!;
    const rt = cells[o + RTT]! - cells[o + RT]! ** 2 / rn;
    const ri = cells[o + RII]! - cells[o + RI]! ** 2 / rn;
    cells[o + CORR] =
      rn >= 6 && rt > 0 && ri > 0
        ? (cells[o + RTI]! - (cells[o + RT]! * cells[o + RI]!) / rn) / Math.sqrt(rt * ri + 1e-12)
        : 0;
    used++;
  }
  return used;
}

/**
 * The region's gain from the cells that agree with the template, so that an occluder has no say.
 * @returns also how many cells have a correlation (`judged`), the better ones' (`good`), and the contrast within those
 * that agree
 */
function regionGain(
  cells: Float64Array,
  level: TemplateLevel,
): { readonly gain: number; readonly judged: number; readonly good: number; readonly within: number } {
  const known = new Float64Array(level.cells);
  let judged = 0;
  for (let c = 0; c < level.cells; c++) if (cells[c * SLOTS + RN]! >= 6) known[judged++] = cells[c * SLOTS + CORR]!;
  // Numbers sort faster so than by a comparison of ours.
  const correlations = known.subarray(0, judged).sort();
  const good = judged === 0 ? 0 : Math.max(0.15, correlations[(judged * 0.8) | 0]!);
  let within = 0;
  let cross = 0;
  for (let c = 0; c < level.cells; c++) {
    const o = c * SLOTS;
    if (cells[o + N]! < LEAST_SEEN) continue;
    if (judged === 0 || cells[o + CORR]! > 0.7 * good || cells[o + RN]! < 6) {
      within += textureOf(cells, o, level.grain);
      cross += cells[o + STI]!;
    }
  }
  return { gain: Math.max(0.15, Math.min(6, within > 0 ? cross / within : 1)), judged, good, within };
}

/** A cell's own gain, drawn towards the region's. */
function cellGain(cells: Float64Array, o: number, grain: number, region: number, ridge: number): number {
  const own = (cells[o + STI]! + ridge * region) / (textureOf(cells, o, grain) + ridge + 1e-12);
  return Math.max(0.4 * region, Math.min(2.5 * region, own));
}

/** Each cell's bias: its own, drawn towards the region's plane, or the plane's where it lies far off. */
function cellBiases(cells: Float64Array, level: TemplateLevel, plane: RegionLight, first: boolean): void {
  const limit = 0.04 + 4 * plane.spread;
  for (let c = 0; c < level.cells; c++) {
    const o = c * SLOTS;
    const m = cells[o + N]!;
    const bias = plane.bias + plane.biasU * level.middles[2 * c]! + plane.biasV * level.middles[2 * c + 1]!;
    cells[o + BIAS] = bias;
    if (m < LEAST_SEEN) continue;
    const own = (cells[o + SI]! - plane.gain * cells[o + ST]!) / m - bias;
    if (Math.abs(own) > limit) cells[o + GAIN] = plane.gain;
    else if (!first) cells[o + BIAS] = (cells[o + SI]! - cells[o + GAIN]! * cells[o + ST]! + 2 * bias) / (m + 2);
  }
}

/**
 * A cell's contrast without the key frame's grain, which would make every gain look smaller than it is (W. Fuller,
 * *Measurement Error Models*, 1987, ch. 1) and so leave residuals that look like motion; never below a tenth of it.
 */
function textureOf(cells: Float64Array, o: number, grain: number): number {
  return Math.max(0.1 * cells[o + STT]!, cells[o + STT]! - cells[o + N]! * grain);
}

/**
 * The region's bias as a plane over its cells, by weights that fall off (Geman & McClure) from what was expected or
 * from the middle of the cells that look like the template.
 */
function lightPlane(
  cells: Float64Array,
  level: TemplateLevel,
  gain: number,
  expected: RegionLight | null,
): RegionLight {
  const count = level.cells;
  const biases = new Float64Array(count);
  const trusted = new Float64Array(count);
  const all = new Float64Array(count);
  let sure = 0;
  let seen = 0;
  for (let c = 0; c < count; c++) {
    const o = c * SLOTS;
    if (cells[o + N]! < LEAST_SEEN) continue;
    biases[c] = (cells[o + SI]! - gain * cells[o + ST]!) / cells[o + N]!;
    all[seen++] = biases[c]!;
    if (cells[o + TRUST]! > 0.5) trusted[sure++] = biases[c]!;
  }
  const middle = (v: Float64Array): number => v.sort()[v.length >> 1] ?? 0;
  const seenBiases = all.subarray(0, seen);
  const bias = sure >= 3 ? middle(trusted.subarray(0, sure)) : middle(seenBiases);
  let plane: BiasPlane = { bias, biasU: 0, biasV: 0, spread: 0.02 };
  let scale = 0.15;
  const carried = expected === null ? null : carriedBias(cells, count, gain, expected, seenBiases);
  if (expected !== null && carried !== null) {
    plane = { ...plane, bias: carried, biasU: expected.biasU, biasV: expected.biasV };
    scale = 0.06;
  }
  for (let it = 0; it < 4; it++) {
    plane = fitPlane(cells, level, biases, plane, scale);
    scale = Math.max(0.03, Math.min(scale, 3 * plane.spread + 0.01));
  }
  return { gain, ...plane };
}

type BiasPlane = Omit<RegionLight, 'gain'>;

/**
 * The bias expected, carried to the gain of now through the mean of the template: the gain may have changed with the
 * light. Null where fewer than a fifth of the cells lie near it.
 */
function carriedBias(
  cells: Float64Array,
  count: number,
  gain: number,
  expected: RegionLight,
  biases: Float64Array,
): number | null {
  let mean = 0;
  let n = 0;
  for (let c = 0; c < count; c++)
    if (cells[c * SLOTS + N]! > LEAST_SEEN) {
      mean += cells[c * SLOTS + ST]!;
      n += cells[c * SLOTS + N]!;
    }
  const carried = expected.bias + (expected.gain - gain) * (mean / Math.max(1, n));
  let near = 0;
  for (const b of biases) if (Math.abs(b - carried) < 0.08) near++;
  return near >= 0.2 * biases.length ? carried : null;
}

/** One fit of the plane by weights that fall off from the plane before it. */
function fitPlane(
  cells: Float64Array,
  level: TemplateLevel,
  biases: Float64Array,
  before: BiasPlane,
  scale: number,
): BiasPlane {
  let { bias: b, biasU: bu, biasV: bv } = before;
  let s = 1e-9;
  let su = 0;
  let sv = 0;
  let suu = 0;
  let suv = 0;
  let svv = 0;
  let sb = 0;
  let sub = 0;
  let svb = 0;
  let square = 0;
  for (let c = 0; c < level.cells; c++) {
    const o = c * SLOTS;
    const m = cells[o + N]!;
    if (m < LEAST_SEEN) continue;
    const u = level.middles[2 * c]!;
    const v = level.middles[2 * c + 1]!;
    const e = biases[c]! - b - bu * u - bv * v;
    const w = (m * (0.05 + cells[o + TRUST]!)) / (1 + (e / scale) ** 2) ** 2;
    s += w;
    su += w * u;
    sv += w * v;
    suu += w * u * u;
    suv += w * u * v;
    svv += w * v * v;
    sb += w * biases[c]!;
    sub += w * u * biases[c]!;
    svb += w * v * biases[c]!;
    square += w * e * e;
  }
  // Slopes are drawn towards none by a third of the region's own weight.
  const cuu = suu - (su * su) / s + 0.1 * s;
  const cvv = svv - (sv * sv) / s + 0.1 * s;
  const cuv = suv - (su * sv) / s;
  const cub = sub - (su * sb) / s;
  const cvb = svb - (sv * sb) / s;
  const det = cuu * cvv - cuv * cuv;
  if (det > 1e-12) {
    bu = (cub * cvv - cvb * cuv) / det;
    bv = (cvb * cuu - cub * cuv) / det;
  }
  b = (sb - bu * su - bv * sv) / s;
  return { bias: b, biasU: bu, biasV: bv, spread: Math.min(0.08, Math.sqrt(square / s)) };
}
