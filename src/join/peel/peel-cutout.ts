/**
 * Peel without a screen: by a drawn outline, or by difference to a clean frame of the same set-up. Both give a first
 * matte with an unknown band. In the band the colours decide: local unmixing between the clouds on either side
 * (`local-unmix.ts`), smoothed along the picture's own edges by the guided filter (He, Sun and Tang, "Guided Image
 * Filtering", PAMI 2013, which is one step of closed-form matting, Levin, Lischinski and Weiss, PAMI 2008). Mixing is
 * judged in coded light: what is measured here is mostly the lens's and the resizer's soft edge, and dark sets would
 * otherwise drown.
 */
import { PlatewrightError } from '../../core/errors.js';
import { boxMean } from '../../image/box.js';
import { distanceToSet } from '../../image/distance.js';
import { guidedFilterColour } from '../../image/guided-filter.js';
import { createPicture, requireSameSize, type Picture } from '../../image/picture.js';
import { rasterizePolygon, type Point } from '../../image/polygon.js';
import type { Peeled } from './peel.js';
import { fillHoles } from './fill-holes.js';
import { emptySet, notOfSet, type EmptySet } from './empty-set.js';
import { rendered, renderingOf } from './match-light.js';
import { smallLinear } from './small-linear.js';
import { coverageByLine, heldToLine, scatterOf, unmixingVariance } from './line-prior.js';
import { cellMoments, unmixingModel } from './local-unmix.js';
import { settleByLaplacian } from './matting-laplacian.js';
import { resampleCells } from './resample-cells.js';

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
export function peelByOutline(
  coded: Picture,
  linear: Picture,
  outlines: readonly (readonly Point[])[],
  options: CutoutOptions = {},
): Peeled {
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
  if (drawn === 0)
    throw new PlatewrightError(
      'PW-PEEL-OUTLINE',
      'an outline needs at least three points; draw one round the performer',
      { kind: 'input' },
    );
  return settle(coded, linear, inside, options.bandPx ?? Math.max(2, 0.015 * h), null);
}

export interface DifferenceOptions extends CutoutOptions {
  /** What empty frames of the set say together, in the linear light of `linear`; the clean frame alone unless given. */
  readonly set?: EmptySet;
}

/**
 * Matte from the difference to the empty set (same camera, no performer): who stands there is told on small pictures
 * (`peel/empty-set.ts`), the outline settled at full size. Where the set stirs or lies in the performer's shadow, what
 * is behind is told by the frame's own surroundings, elsewhere by the clean frame.
 */
export function peelByDifference(
  coded: Picture,
  linear: Picture,
  clean: Picture,
  options: DifferenceOptions = {},
): Peeled {
  requireSameSize(coded, clean, 'peel by difference');
  const { width: w, height: h } = coded,
    n = w * h;
  const own = options.set,
    set = own ?? emptySet([smallLinear(clean)]),
    small = smallLinear(own === undefined ? coded : linear),
    { block } = small;
  const { inside: mask, holds } = notOfSet(small, set);
  const inside = new Float32Array(n),
    trust = new Float32Array(n);
  for (let y = 0; y < h; y += 1)
    for (let x = 0; x < w; x += 1) {
      const i = y * w + x,
        j = Math.floor(y / block) * small.width + Math.floor(x / block);
      inside[i] = mask[j]!;
      trust[i] = holds[j]!;
    }
  // The small mask reaches into the fur: its outline is drawn in, and the band wide.
  const smooth = boxMean(inside, w, h, 3 * block),
    holding = boxMean(trust, w, h, block);
  for (let i = 0; i < n; i += 1) inside[i] = smooth[i]! > DRAWN_IN ? 1 : 0;
  return settle(coded, linear, inside, options.bandPx ?? Math.max(3, FOUND_BAND * h), {
    clean: renderedAlike(clean, coded),
    holds: holding,
  });
}

/** Side of a cell of the colour clouds, px, and the weight of the coarser level. */
const CELL = 8;
const PRIOR = 8;

/** The set behind the performer as a clean frame shows it under this frame's light, and how far that holds. */
interface Empty {
  readonly clean: Picture;
  readonly holds: Float32Array;
}

/** The clean frame's codes as this frame's camera, light and curve would have them. */
function renderedAlike(clean: Picture, coded: Picture): Picture {
  const { width: w, height: h } = coded,
    n = w * h,
    radius = Math.max(2, Math.round(h / 70)),
    out = createPicture(w, h, 3);
  for (let p = 0; p < 3; p += 1) {
    const from = clean.data.subarray(p * n, (p + 1) * n),
      curve = renderingOf(boxMean(from, w, h, radius), boxMean(coded.data.subarray(p * n, (p + 1) * n), w, h, radius));
    for (let i = 0; i < n; i += 1) out.data[p * n + i] = Math.max(0, rendered(curve, from[i]!));
  }
  return out;
}

/**
 * Share of a box about a pixel that must be inside a mask that was found; half-width of its band, share of the height.
 * Tried on made gardens.
 */
const DRAWN_IN = 0.85;
const FOUND_BAND = 0.022;
/**
 * Share of the band that a pixel must lie inside by to be solid by its own colour, and how far that must lie from the
 * clean frame's, coded.
 */
const NEARER = 0.45;
const PLAINLY = 0.2;
/** Coverage from which a pixel of the band counts for the performer's cloud, and less than its rest for the set's. */
const SURELY = 0.9;
/** Share of the clouds' distance that a pixel's own set must leave. */
const LEAST_CONTRAST = 0.4;

/**
 * Settles the band: unmixing between the clouds inside and outside (or the clean frame), then smoothed along the
 * picture's edges.
 */
function settle(coded: Picture, linear: Picture, inside: Float32Array, bandPx: number, empty: Empty | null): Peeled {
  const { width: w, height: h, data } = coded;
  const n = w * h;
  const isIn = Uint8Array.from(inside, (v) => (v > 0.5 ? 1 : 0));
  const isOut = Uint8Array.from(inside, (v) => (v > 0.5 ? 0 : 1));
  const toOut = distanceToSet(isOut, w, h);
  const toIn = distanceToSet(isIn, w, h);
  const weightF = new Float32Array(n);
  const weightB = new Float32Array(n);
  const solid = empty === null ? new Uint8Array(n) : surelySolid(data, toOut, NEARER * bandPx, empty);
  for (let i = 0; i < n; i += 1) {
    if (isIn[i] === 1) weightF[i] = toOut[i]! > bandPx || solid[i] === 1 ? 1 : 0;
    else weightB[i] = toIn[i]! > bandPx && toIn[i]! < 8 * bandPx ? 1 : 0;
  }
  const alpha = createPicture(w, h, 1);
  alpha.data.set(inside);
  const line =
    empty !== null
      ? null
      : Float32Array.from(inside, (_, i) => coverageByLine(isIn[i] === 1 ? toOut[i]! - 0.5 : 0.5 - toIn[i]!, bandPx));
  // Of an outline that was drawn the clouds are as told; one that was found is settled anew from what the first turn
  // found.
  for (let turn = 0; turn < (empty === null ? 1 : 2); turn += 1) {
    if (turn > 0)
      for (let i = 0; i < n; i += 1) {
        const depth = isIn[i] === 1 ? toOut[i]! : -toIn[i]!;
        if (Math.abs(depth) > bandPx) continue;
        weightF[i] = alpha.data[i]! > SURELY ? 1 : 0;
        weightB[i] = alpha.data[i]! < 1 - SURELY ? 1 : 0;
      }
    const first = unmixed(data, w, h, weightF, weightB, empty, line);
    if (first === null) break;
    for (let i = 0; i < n; i += 1) {
      const depth = isIn[i] === 1 ? toOut[i]! : -toIn[i]!;
      first[i] = depth > bandPx || solid[i] === 1 ? 1 : depth < -bandPx ? 0 : first[i]!;
    }
    const refined = guidedFilterColour(coded, first, turn === 0 ? 2 : 1, EDGE_VARIANCE);
    for (let i = 0; i < n; i += 1) {
      const depth = isIn[i] === 1 ? toOut[i]! : -toIn[i]!;
      const a = Math.abs(depth) > bandPx ? inside[i]! : refined[i]!;
      alpha.data[i] = a < 0.01 ? 0 : a > 0.99 ? 1 : a;
    }
  }
  if (empty !== null) fillWithin(alpha.data, isIn, isOut, w, h);
  if (empty === null) {
    // Of an outline nothing is known behind the performer: the picture's own colour lines settle what the clouds began.
    const band = new Uint8Array(n);
    for (let i = 0; i < n; i += 1) band[i] = (isIn[i] === 1 ? toOut[i]! : toIn[i]!) > bandPx ? 0 : 1;
    settleByLaplacian(coded, alpha.data, band);
  }
  return { alpha, colour: solidColour(linear, alpha.data, Math.max(2, Math.round(bandPx))) };
}

/**
 * Fills hollows inside the found outline that no path from outside it reaches: single hairs and shaded tufts of the
 * performer that have the set's colour by chance. A gap that shows the set lies outside the outline.
 */
function fillWithin(alpha: Float32Array, isIn: Uint8Array, isOut: Uint8Array, w: number, h: number): void {
  const filled = alpha.slice();
  fillHoles(filled, isOut, new Uint8Array(w * h).fill(1), w, h);
  for (let i = 0; i < alpha.length; i += 1) if (isIn[i] === 1) alpha[i] = Math.max(alpha[i]!, filled[i]!);
}

/**
 * 1 at pixels at least so deep inside that are plainly not what the clean frame shows there: feet and tails are nowhere
 * deeper, and no cloud but their own knows their colour.
 */
function surelySolid(data: Float32Array, toOut: Float32Array, deepPx: number, empty: Empty): Uint8Array {
  const n = toOut.length,
    out = new Uint8Array(n);
  for (let i = 0; i < n; i += 1) {
    if (toOut[i]! < deepPx || empty.holds[i]! < 0.5) continue;
    let d = 0;
    for (let p = 0; p < 3; p += 1) d += (data[p * n + i]! - empty.clean.data[p * n + i]!) ** 2;
    if (d > PLAINLY * PLAINLY) out[i] = 1;
  }
  return out;
}

/** Coverage of each pixel between the clouds of the weighted pixels, 0..1; null where one of them has none. */
function unmixed(
  data: Float32Array,
  w: number,
  h: number,
  weightF: Float32Array,
  weightB: Float32Array,
  empty: Empty | null,
  line: Float32Array | null,
): Float32Array | null {
  const n = w * h;
  const performer = cellMoments(data, weightF, w, h, CELL, PRIOR);
  const behind = cellMoments(data, weightB, w, h, CELL, PRIOR);
  if (performer === null || behind === null) return null;
  const { grid } = performer;
  const cells = grid.width * grid.height;
  // Second moments about the mean: what is left of I − B behind the performer.
  const residual = new Float32Array(9 * cells);
  for (let j = 0; j < cells; j += 1) {
    const m = [behind.moments[j]!, behind.moments[cells + j]!, behind.moments[2 * cells + j]!];
    let k = 3;
    for (let p = 0; p < 3; p += 1)
      for (let q = p; q < 3; q += 1, k += 1)
        residual[k * cells + j] = Math.max(p === q ? 0 : -1, behind.moments[k * cells + j]! - m[p]! * m[q]!);
  }
  const model = unmixingModel(performer.moments, behind.moments, residual, cells, CODED_NOISE);
  const weights = resampleCells(model, grid, CELL, w, h, 3);
  const back = resampleCells(behind.moments, grid, CELL, w, h, 3);
  const out = new Float32Array(n);
  if (empty === null) {
    const variance = unmixingVariance(model, scatterOf(performer.moments, residual, cells), grid, CODED_NOISE);
    const doubt = resampleCells(variance, grid, CELL, w, h, 1);
    for (let i = 0; i < n; i += 1) {
      let a = 0;
      for (let p = 0; p < 3; p += 1) a += weights[p * n + i]! * (data[p * n + i]! - back[p * n + i]!);
      a = Math.min(1, Math.max(0, a));
      out[i] = line === null ? a : heldToLine(a, doubt[i]!, line[i]!);
    }
    return out;
  }
  // Behind a pixel is what the clean frame shows there, which is not its cell's mean: the performer's mean is to be 1
  // against it.
  const front = resampleCells(performer.moments.subarray(0, 3 * cells), grid, CELL, w, h, 3);
  for (let i = 0; i < n; i += 1) {
    let a = 0,
      whole = 0;
    for (let p = 0; p < 3; p += 1) {
      const at = p * n + i,
        b = back[at]! + empty.holds[i]! * (empty.clean.data[at]! - back[at]!);
      a += weights[at]! * (data[at]! - b);
      whole += weights[at]! * (front[at]! - b);
    }
    out[i] = Math.min(1, Math.max(0, a / Math.max(LEAST_CONTRAST, whole)));
  }
  return out;
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
