/**
 * What a frame hides, from the frames nearest in time that show it: where the camera travels through depth, shakes out of focus
 * or the set itself stirs, one still picture of the set (erase-mosaic.ts) is no frame's truth, but a moment before or after is
 * nearly this one's. Each near frame is laid over the frame by the camera's move, its place corrected by an affine fit and by a
 * local field (local-field.ts), its light by the ratio; all of them and the still picture are then averaged pixel by pixel, each
 * with the weight that its squared difference from the frame beside the hole earns (an inverse-variance mean, the variance
 * carried over the hole by push-pull: Gortler et al., "The Lumigraph", SIGGRAPH 1996).
 */
import { multiply, tryInvert, type Mat3 } from '../geometry/mat3.js';
import { distanceToSet } from '../image/distance.js';
import { gaussianPlane } from '../image/gaussian.js';
import { createPicture, type Picture } from '../image/picture.js';
import { pushPull } from '../image/push-pull.js';
import { fitLocally } from './erase-align.js';
import { gainOf, lumaOf, validity, type MosaicSource } from './erase-mosaic.js';
import { layOver, type Shift } from './lay-over.js';
import { localField } from './local-field.js';

/** Near frames laid over at most. */
const NEAR = 6;
/** A near frame is taken along where it shows at least this share of what fewer than two others show. */
const ADDS = 0.03;
/** How far things off the set's plane are believed to lie from it, as a share of a frame's width. */
const PARALLAX = 0.03;
/** What a frame's distance in time adds to its variance: a hundredth of the coded range, squared, in ten frames. */
const PER_FRAME = 1e-5;
/** Differences are counted up to this (coded): what lies beyond belongs to another thing. */
const MOST_DIFFERENCE = 0.15;
/** A shadow lets through at most this share of the coded value (as in erase-shadow.ts). */
const DARKER = 0.93;
/** Width over which a near frame's edge passes into the others, px. */
const SOFT = 6;

export interface NearRequest {
  readonly frame: number;
  /** The frame over the box. */
  readonly around: Picture;
  /** > 0 where the frame hides the set. */
  readonly hidden: Float32Array;
  /** Reference pixels → box pixels. */
  readonly toBox: Mat3;
  readonly sources: readonly MosaicSource[];
  /** The still picture over the box, whether it was seen (1), and the sd of its samples. */
  readonly still: Picture;
  readonly seen: Float32Array;
  readonly spread: Float32Array;
  /** What is hidden throws a shadow: near frames count only where they are as light as the still picture. */
  readonly lit: boolean;
}

/** Mean squared difference of two pictures where `weight` is over a half, per pixel smoothed over some pixels and carried over the rest. Null where too little is to be compared. */
function varianceOf(around: Picture, fill: Picture, weight: Float32Array): Float32Array | null {
  const { width: w, height: h } = around, n = w * h;
  const d = new Float32Array(n), k = new Float32Array(n);
  let count = 0;
  for (let i = 0; i < n; i++) {
    if (!(weight[i]! > 0.5)) continue;
    let e = 0;
    for (let c = 0; c < 3; c++) e += Math.min(MOST_DIFFERENCE, Math.abs(around.data[c * n + i]! - fill.data[c * n + i]!)) ** 2 / 3;
    d[i] = e;
    k[i] = 1;
    count++;
  }
  if (count < 300) return null;
  const sum = gaussianPlane(d, w, h, 4), all = gaussianPlane(k, w, h, 4);
  for (let i = 0; i < n; i++) { d[i] = all[i]! > 0.05 ? sum[i]! / all[i]! : 0; k[i] = weight[i]! > 0.5 ? 0.05 : 0; }
  return pushPull([d], k, w, h)[0]!;
}

/** Root of the mean squared difference beside the hole. */
export function differenceBeside(around: Picture, fill: Picture, hidden: Float32Array, seen: Float32Array, bandPx: number): number {
  const { width: w, height: h } = around, n = w * h;
  const near = distanceToSet(hidden, w, h);
  let sum = 0, count = 0;
  for (let i = 0; i < n; i++) {
    if (hidden[i]! > 0 || !(seen[i]! > 0.99) || near[i]! > bandPx) continue;
    for (let c = 0; c < 3; c++) sum += Math.min(MOST_DIFFERENCE, Math.abs(around.data[c * n + i]! - fill.data[c * n + i]!)) ** 2 / 3;
    count++;
  }
  return count < 100 ? 0 : Math.sqrt(sum / count);
}

/** The fill over the box and whether each pixel was seen by some frame. `still` is not changed. */
export function nearFill(r: NearRequest): { readonly fill: Picture; readonly seen: Float32Array } {
  const { width: w, height: h } = r.around, n = w * h;
  const luma = lumaOf(r.around);
  const sum = createPicture(w, h, 3), total = new Float32Array(n), seen = new Float32Array(n);
  const add = (fill: Picture, weight: Float32Array, variance: Float32Array, extra: (i: number) => number): void => {
    for (let i = 0; i < n; i++) {
      if (!(weight[i]! > 0)) continue;
      const a = weight[i]! / (variance[i]! + extra(i) + 1e-6) ** 2;
      for (let c = 0; c < 3; c++) sum.data[c * n + i] = sum.data[c * n + i]! + a * fill.data[c * n + i]!;
      total[i] = total[i]! + a;
      seen[i] = Math.max(seen[i]!, Math.min(1, weight[i]!));
    }
  };
  const open = (valid: Float32Array): Float32Array => {
    const out = new Float32Array(n);
    for (let i = 0; i < n; i++) out[i] = valid[i]! > 0.99 && r.hidden[i]! <= 0 ? 1 : 0;
    return out;
  };
  for (const { source, matrix, valid } of chooseNear(r, w, h)) {
    let place = matrix, shift: Shift | null = null;
    let laid = layOver(source.coded(), place, w, h, 'bicubic');
    const weight = open(valid);
    const fit = fitLocally(luma, lumaOf(laid), weight, w, h, { reachPx: 2 });
    const back = tryInvert(fit.matrix);
    if (back !== null && fit.after < 0.995 * fit.before) { place = multiply(back, place); laid = layOver(source.coded(), place, w, h, 'bicubic'); }
    const field = localField(luma, lumaOf(laid), open(validity(source, place, w, h, null)), w, h, { reachPx: PARALLAX * source.widthPx, cellPx: 8 });
    if (field !== null) shift = { field, scale: 1, x0: 0, y0: 0 };
    laid = layOver(source.coded(), place, w, h, 'lanczos3', 'clamp', shift);
    const shows = validity(source, place, w, h, shift), known = open(shows);
    const gain = gainOf(laid, r.around, known);
    for (let c = 0; c < 3; c++) for (let i = c * n; i < (c + 1) * n; i++) laid.data[i] = laid.data[i]! * gain[c]!;
    const variance = varianceOf(r.around, laid, known);
    if (variance === null) continue;
    const later = PER_FRAME * Math.abs(source.frame - r.frame);
    if (r.lit) withoutDarker(shows, laid, r);
    add(laid, soft(shows, w, h), variance, () => later);
  }
  const known = open(r.seen), variance = varianceOf(r.around, r.still, known);
  if (variance !== null) {
    const apart = gaussianPlane(r.spread.map((v) => v * v), w, h, 3);
    add(r.still, soft(r.seen, w, h), variance, (i) => apart[i]!);
  }
  for (let i = 0; i < n; i++) for (let c = 0; c < 3; c++) {
    const o = c * n + i, t = total[i]!;
    const made = r.still.data[o]!;
    sum.data[o] = t > 0 ? made + Math.min(1, seen[i]!) * (sum.data[o]! / t - made) : made;
  }
  return { fill: sum, seen };
}

/** Strikes out of `shows` what is darker than the still picture as a shadow would make it. */
function withoutDarker(shows: Float32Array, laid: Picture, r: NearRequest): void {
  const { width: w, height: h } = laid;
  const a = gaussianPlane(lumaOf(laid), w, h, 2), b = gaussianPlane(lumaOf(r.still), w, h, 2);
  for (let i = 0; i < shows.length; i++) if (r.seen[i]! > 0.99 && a[i]! < DARKER * b[i]!) shows[i] = 0;
}

interface NearPlace { readonly source: MosaicSource; readonly matrix: Mat3; readonly valid: Float32Array }

/** The nearest frames in time that together show what is hidden, twice over where they can. */
function chooseNear(r: NearRequest, w: number, h: number): NearPlace[] {
  const out: NearPlace[] = [];
  const times = new Uint8Array(w * h);
  let all = 0;
  for (let i = 0; i < times.length; i++) if (r.hidden[i]! > 0) all++;
  for (const source of r.sources.filter((s) => s.frame !== r.frame).sort((a, b) => Math.abs(a.frame - r.frame) - Math.abs(b.frame - r.frame) || a.frame - b.frame)) {
    const matrix = multiply(r.toBox, source.toReference);
    const valid = validity(source, matrix, w, h, null);
    let adds = 0;
    for (let i = 0; i < times.length; i++) if (r.hidden[i]! > 0 && valid[i]! > 0.99 && times[i]! < 2) adds++;
    if (adds < ADDS * all) continue;
    for (let i = 0; i < times.length; i++) if (valid[i]! > 0.99) times[i] = times[i]! + 1;
    out.push({ source, matrix, valid });
    if (out.length >= NEAR) break;
  }
  return out;
}

/** 1 well inside what is seen, falling to 0 at its edge. */
function soft(valid: Float32Array, w: number, h: number): Float32Array {
  const gone = new Float32Array(w * h);
  let any = false;
  for (let i = 0; i < gone.length; i++) if (!(valid[i]! > 0.99)) { gone[i] = 1; any = true; }
  if (!any) return gone.fill(1);
  const d = distanceToSet(gone, w, h);
  for (let i = 0; i < d.length; i++) d[i] = Math.min(1, Math.max(0, d[i]! / SOFT));
  return d;
}
