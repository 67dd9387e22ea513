/**
 * Peel without a screen: by a drawn outline, or by difference to a clean frame of the same set-up. Both give a first matte
 * with an unknown band. In the band the colours decide: local unmixing between the clouds on either side (`local-unmix.ts`),
 * smoothed along the picture's own edges by the guided filter (He, Sun and Tang, "Guided Image Filtering", PAMI 2013, which is
 * one step of closed-form matting, Levin, Lischinski and Weiss, PAMI 2008). Mixing is judged in coded light: what is measured
 * here is mostly the lens's and the resizer's soft edge, and dark sets would otherwise drown.
 */
import { PlatewrightError } from '../core/errors.js';
import { boxMean } from '../image/box.js';
import { distanceToSet } from '../image/distance.js';
import { guidedFilterColour } from '../image/guided-filter.js';
import { createPicture, requireSameSize, type Picture } from '../image/picture.js';
import { rasterizePolygon, type Point } from '../image/polygon.js';
import type { Peeled } from './peel.js';
import { cellMoments, unmixingModel } from './peel/local-unmix.js';
import { resampleCells } from './peel/resample-cells.js';

/** Variance of coded colour that counts as an edge for the guided filter. */
const EDGE_VARIANCE = 1e-4;
/** Variance of coded noise taken for granted: an 8-bit camera file. */
const CODED_NOISE = 4e-5;

export interface CutoutOptions {
  /** Half-width of the unknown band, px; 1.5 % of the picture's height unless told. */
  readonly bandPx?: number;
}

/**
 * Matte from outlines drawn round the performer, its edge settled within the band.
 * @param coded display-coded RGB (edges are judged as the eye does) @param linear the same frame, scene-linear
 * Throws `PW-PEEL-OUTLINE` where no outline has three points.
 */
export function peelByOutline(coded: Picture, linear: Picture, outlines: readonly (readonly Point[])[], options: CutoutOptions = {}): Peeled {
  requireSameSize(coded, linear, 'peel by outline');
  const { width: w, height: h } = coded;
  const inside = new Float32Array(w * h);
  let drawn = 0;
  for (const outline of outlines) {
    if (outline.length < 3) continue;
    drawn += 1;
    const one = rasterizePolygon(outline, w, h);
    for (let i = 0; i < inside.length; i += 1) inside[i] = Math.max(inside[i]!, one[i]!);
  }
  if (drawn === 0) throw new PlatewrightError('PW-PEEL-OUTLINE', 'an outline needs at least three points; draw one round the performer', { kind: 'input' });
  return settle(coded, linear, inside, options.bandPx ?? Math.max(2, 0.015 * h), null);
}

/**
 * Matte from the difference to a clean frame (same camera, same light, no performer): colour distance in units of the
 * noise seen where the two agree.
 */
export function peelByDifference(coded: Picture, linear: Picture, clean: Picture, options: CutoutOptions = {}): Peeled {
  requireSameSize(coded, clean, 'peel by difference');
  const { width: w, height: h } = coded;
  const n = w * h;
  const distance = new Float32Array(n);
  for (let i = 0; i < n; i += 1) {
    let s = 0;
    for (let p = 0; p < 3; p += 1) s += (coded.data[p * n + i]! - clean.data[p * n + i]!) ** 2;
    distance[i] = s;
  }
  const smooth = boxMean(distance, w, h, 2);
  // The set is most of the picture as a rule: the lower quartile of the squared distance is its noise.
  const sorted = Float32Array.from({ length: 4096 }, (_, k) => smooth[Math.floor(((k + 0.5) * n) / 4096)]!).sort();
  const noise = Math.max(sorted[1024]!, 1e-6);
  const inside = new Float32Array(n);
  for (let i = 0; i < n; i += 1) inside[i] = smooth[i]! > Math.max(16 * noise, 1.5e-3) ? 1 : 0;
  return settle(coded, linear, inside, options.bandPx ?? Math.max(3, 0.01 * h), clean);
}

/** Side of a cell of the colour clouds, px, and the weight of the coarser level. */
const CELL = 8;
const PRIOR = 8;

/** Settles the band: unmixing between the clouds inside and outside (or the clean frame), then smoothed along the picture's edges. */
function settle(coded: Picture, linear: Picture, inside: Float32Array, bandPx: number, clean: Picture | null): Peeled {
  const { width: w, height: h, data } = coded;
  const n = w * h;
  const isIn = Uint8Array.from(inside, (v) => (v > 0.5 ? 1 : 0));
  const isOut = Uint8Array.from(inside, (v) => (v > 0.5 ? 0 : 1));
  const toOut = distanceToSet(isOut, w, h);
  const toIn = distanceToSet(isIn, w, h);
  const weightF = new Float32Array(n);
  const weightB = new Float32Array(n);
  for (let i = 0; i < n; i += 1) {
    if (isIn[i] === 1) weightF[i] = toOut[i]! > bandPx ? 1 : 0;
    else weightB[i] = toIn[i]! > bandPx && toIn[i]! < 8 * bandPx ? 1 : 0;
  }
  const alpha = createPicture(w, h, 1);
  const performer = cellMoments(data, weightF, w, h, CELL, PRIOR);
  const behind = cellMoments(data, weightB, w, h, CELL, PRIOR);
  if (performer === null || behind === null) {
    alpha.data.set(inside);
    return { alpha, colour: solidColour(linear, alpha.data, Math.max(2, Math.round(bandPx))) };
  }
  const { grid } = performer;
  const cells = grid.width * grid.height;
  // Second moments about the mean: what is left of I − B behind the performer.
  const residual = new Float32Array(9 * cells);
  for (let j = 0; j < cells; j += 1) {
    const m = [behind.moments[j]!, behind.moments[cells + j]!, behind.moments[2 * cells + j]!];
    let k = 3;
    for (let p = 0; p < 3; p += 1) for (let q = p; q < 3; q += 1, k += 1) residual[k * cells + j] = Math.max(p === q ? 0 : -1, behind.moments[k * cells + j]! - m[p]! * m[q]!);
  }
  const weights = resampleCells(unmixingModel(performer.moments, behind.moments, residual, cells, CODED_NOISE), grid, CELL, w, h, 3);
  const back = clean === null ? resampleCells(behind.moments, grid, CELL, w, h, 3) : clean.data;
  const first = new Float32Array(n);
  for (let i = 0; i < n; i += 1) {
    let a = 0;
    for (let p = 0; p < 3; p += 1) a += weights[p * n + i]! * (data[p * n + i]! - back[p * n + i]!);
    const depth = isIn[i] === 1 ? toOut[i]! : -toIn[i]!;
    first[i] = depth > bandPx ? 1 : depth < -bandPx ? 0 : Math.min(1, Math.max(0, a));
  }
  const refined = guidedFilterColour(coded, first, 2, EDGE_VARIANCE);
  for (let i = 0; i < n; i += 1) {
    const depth = isIn[i] === 1 ? toOut[i]! : -toIn[i]!;
    const a = Math.abs(depth) > bandPx ? inside[i]! : refined[i]!;
    alpha.data[i] = a < 0.01 ? 0 : a > 0.99 ? 1 : a;
  }
  return { alpha, colour: solidColour(linear, alpha.data, Math.max(2, Math.round(bandPx))) };
}

/** The performer's colour drawn outwards: the mean of solid neighbours takes over as alpha falls. */
function solidColour(linear: Picture, alpha: Float32Array, radius: number): Picture {
  const { width: w, height: h } = linear;
  const n = w * h;
  const solid = new Float32Array(n);
  for (let i = 0; i < n; i += 1) solid[i] = alpha[i]! > 0.9 ? 1 : 1e-4 * alpha[i]!;
  const weight = boxMean(solid, w, h, radius);
  const out = createPicture(w, h, 3);
  const product = new Float32Array(n);
  for (let p = 0; p < 3; p += 1) {
    for (let i = 0; i < n; i += 1) product[i] = solid[i]! * linear.data[p * n + i]!;
    const mean = boxMean(product, w, h, radius);
    for (let i = 0; i < n; i += 1) {
      const own = linear.data[p * n + i]!;
      const near = weight[i]! > 1e-6 ? mean[i]! / weight[i]! : own;
      out.data[p * n + i] = Math.max(0, alpha[i]! * own + (1 - alpha[i]!) * near);
    }
  }
  return out;
}
