/**
 * Peel by a drawn outline, which gives a first matte with an unknown band. In the band the colours decide: local
 * unmixing between the clouds on either side (`cloud-unmix.ts`), smoothed along the picture's own edges by the guided
 * filter (He, Sun and Tang, "Guided Image Filtering", PAMI 2013), settled by closed-form matting
 * (`matting-laplacian.ts`). Mixing is judged in coded light: what is measured here is mostly the lens's and the
 * resizer's soft edge, and dark sets would otherwise drown.
 */
import { PlatewrightError } from '../../core/errors.js';
import { distanceToSet } from '../../image/distance.js';
import { guidedFilterColour } from '../../image/guided-filter.js';
import { createPicture, requireSameSize, type Picture } from '../../image/picture.js';
import { rasterizePolygon, type Point } from '../../image/polygon.js';
import type { Peeled } from './peel.js';
import { unmixClouds } from './cloud-unmix.js';
import { coverageByLine, heldToLine } from './line-prior.js';
import { settleByLaplacian } from './matting-laplacian.js';
import { solidColour } from './solid-colour.js';

/** Variance of coded colour that counts as an edge for the guided filter. */
const EDGE_VARIANCE = 1e-4;

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
  return settle(coded, linear, inside, options.bandPx ?? Math.max(2, 0.015 * h));
}

/** Settles the band: unmixing between the clouds inside and outside, then smoothed along the picture's edges. */
function settle(coded: Picture, linear: Picture, inside: Float32Array, bandPx: number): Peeled {
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
  alpha.data.set(inside);
  const clouds = unmixClouds(data, w, h, weightF, weightB);
  if (clouds !== null) {
    const { weights, back, doubt } = clouds;
    const first = new Float32Array(n);
    for (let i = 0; i < n; i += 1) {
      let a = 0;
      for (let p = 0; p < 3; p += 1) a += weights[p * n + i]! * (data[p * n + i]! - back[p * n + i]!);
      a = Math.min(1, Math.max(0, a));
      const line = coverageByLine(isIn[i] === 1 ? toOut[i]! - 0.5 : 0.5 - toIn[i]!, bandPx);
      const depth = isIn[i] === 1 ? toOut[i]! : -toIn[i]!;
      first[i] = depth > bandPx ? 1 : depth < -bandPx ? 0 : heldToLine(a, doubt[i]!, line);
    }
    const refined = guidedFilterColour(coded, first, 2, EDGE_VARIANCE);
    for (let i = 0; i < n; i += 1) {
      const depth = isIn[i] === 1 ? toOut[i]! : -toIn[i]!;
      const a = Math.abs(depth) > bandPx ? inside[i]! : refined[i]!;
      alpha.data[i] = a < 0.01 ? 0 : a > 0.99 ? 1 : a;
    }
  }
  // Nothing is known behind the performer: the picture's own colour lines settle what the clouds began.
  const band = new Uint8Array(n);
  for (let i = 0; i < n; i += 1) band[i] = (isIn[i] === 1 ? toOut[i]! : toIn[i]!) > bandPx ? 0 : 1;
  settleByLaplacian(coded, alpha.data, band);
  return { alpha, colour: solidColour(linear, alpha.data, Math.max(2, Math.round(bandPx))) };
}
