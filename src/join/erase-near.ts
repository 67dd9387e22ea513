/**
 * What a frame hides, from the frames nearest in time that show it: where the camera travels through depth, shakes out of focus
 * or the set itself stirs, one still picture of the set (erase-mosaic.ts) is no frame's truth, but a moment before or after is
 * nearly this one's. Each near frame is laid over the frame by the camera's move, its place corrected by an affine fit and by a
 * local field (local-field.ts), both found at half the size, its light by the ratio; all of them and the still picture are then averaged pixel by pixel, each
 * with the weight that its squared difference from the frame beside the hole earns (an inverse-variance mean, the variance
 * carried over the hole by push-pull: Gortler et al., "The Lumigraph", SIGGRAPH 1996).
 */
import { multiply, tryInvert, type Mat3 } from '../geometry/mat3.js';
import { distanceToSet } from '../image/distance.js';
import { gaussianPlane } from '../image/gaussian.js';
import { createPicture, type Picture } from '../image/picture.js';
import { double, halfSize, halve } from '../image/pyramid.js';
import { pushPull } from '../image/push-pull.js';
import { fitLocally } from './erase-align.js';
import { gainOf, lumaOf, validity, type MosaicSource } from './erase-mosaic.js';
import { cropPicture, cropPlane } from './erase-seam.js';
import type { PartBox } from './frame-part.js';
import { layPart, partRead, type Shift } from './lay-over.js';
import { localField } from './local-field.js';
import { chooseNear } from './near-choice.js';

/** Near frames laid over at most. */
const NEAR = 6;
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
/** So much of the frame about the hidden part is looked at, px and as a share of its larger side. */
const ROOM_PX = 48;
const ROOM = 0.25;
/** Points by which a near frame's place is corrected: some thousands settle an affine map to hundredths of a pixel. */
const POINTS = 5000;

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

/** Mean squared difference of two pictures where `weight` is over a half, smoothed over some pixels and carried over the rest; at half the size. Null where too little is to be compared. */
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
  const hw = halfSize(w), hh = halfSize(h), hd = halve(d, w, h), hk = halve(k, w, h);
  const sum = gaussianPlane(hd, hw, hh, 2), all = gaussianPlane(hk, hw, hh, 2);
  for (let i = 0; i < hd.length; i++) { hd[i] = all[i]! > 0.05 ? sum[i]! / all[i]! : 0; hk[i] = 0.2 * hk[i]!; }
  return double(pushPull([hd], hk, hw, hh)[0]!, hw, hh, w, h);
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
  const { width, height } = r.around;
  const box = roomAbout(r.hidden, width, height);
  if (box === null) return { fill: r.still, seen: r.seen };
  const crop = (p: Float32Array): Float32Array => cropPlane(p, width, box);
  const part = fillPart({
    ...r, around: cropPicture(r.around, box), hidden: crop(r.hidden), still: cropPicture(r.still, box), seen: crop(r.seen), spread: crop(r.spread),
    toBox: multiply([1, 0, -box[0], 0, 1, -box[1], 0, 0, 1], r.toBox),
  });
  const fill: Picture = { ...r.still, data: r.still.data.slice() }, seen = r.seen.slice();
  const pw = part.fill.width, pn = pw * part.fill.height;
  for (let y = box[1]; y < box[3]; y++) {
    const from = (y - box[1]) * pw, to = y * width + box[0];
    seen.set(part.seen.subarray(from, from + pw), to);
    for (let c = 0; c < 3; c++) fill.data.set(part.fill.data.subarray(c * pn + from, c * pn + from + pw), c * width * height + to);
  }
  return { fill, seen };
}

/** The hidden part with some room about it; whole pairs of pixels. */
function roomAbout(hidden: Float32Array, w: number, h: number): PartBox | null {
  let x0 = w, y0 = h, x1 = 0, y1 = 0;
  for (let y = 0; y < h; y++) for (let x = 0; x < w; x++) if (hidden[y * w + x]! > 0) { x0 = Math.min(x0, x); x1 = Math.max(x1, x + 1); y0 = Math.min(y0, y); y1 = y + 1; }
  if (x1 <= x0) return null;
  const room = Math.ceil(Math.max(ROOM_PX, ROOM * Math.max(x1 - x0, y1 - y0)));
  return [Math.max(0, x0 - room) & ~1, Math.max(0, y0 - room) & ~1, Math.min(w, x1 + room), Math.min(h, y1 + room)];
}

function fillPart(r: NearRequest): { readonly fill: Picture; readonly seen: Float32Array } {
  const { width: w, height: h } = r.around, n = w * h;
  const hw = halfSize(w), hh = halfSize(h);
  const luma = halve(lumaOf(r.around), w, h);
  const covered = halve(r.hidden, w, h);
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
  for (const { source, matrix } of chooseNear(r.sources, r.frame, r.toBox, r.hidden, w, NEAR)) {
    const found = bringOver(source, matrix, luma, covered, w, h, hw, hh);
    if (found === null) continue;
    const { laid, shows } = found, known = open(shows);
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

/**
 * A near frame over the box, its place corrected; and where it shows the set. Found on luma at half the size, `luma` being the
 * frame's and `covered` over 0 where it hides the set.
 */
function bringOver(source: MosaicSource, matrix: Mat3, luma: Float32Array, covered: Float32Array, w: number, h: number, hw: number, hh: number): { readonly laid: Picture; readonly shows: Float32Array } | null {
  const reach = PARALLAX * source.widthPx, far = Math.ceil(reach) + 8;
  // What a shift may come to need is cut out at once.
  const read = partRead(source.widthPx, source.heightPx, multiply([1, 0, far, 0, 1, far, 0, 0, 1], matrix), w + 2 * far, h + 2 * far);
  if (read === null) return null;
  // Half the size means whole pairs of pixels from the corner on.
  const { picture, x0, y0 } = source.part([read[0] & ~1, read[1] & ~1, read[2], read[3]]);
  const half: Picture = { width: halfSize(picture.width), height: halfSize(picture.height), channels: 1, data: halve(lumaOf(picture), picture.width, picture.height) };
  const down: Mat3 = [0.5, 0, 0, 0, 0.5, 0, 0, 0, 1], up: Mat3 = [2, 0, 0, 0, 2, 0, 0, 0, 1];
  let place = matrix;
  const layHalf = (): Float32Array => layPart(half, x0 / 2, y0 / 2, multiply(down, multiply(place, up)), hw, hh, 'bicubic').data;
  const openHalf = (): Float32Array => {
    const valid = validity(source, multiply(down, place), hw, hh, null);
    for (let i = 0; i < valid.length; i++) valid[i] = valid[i]! > 0.99 && covered[i]! <= 0 ? 1 : 0;
    return valid;
  };
  let small = layHalf();
  const fit = fitLocally(luma, small, openHalf(), hw, hh, { reachPx: 1, points: POINTS });
  const back = tryInvert(fit.matrix);
  if (back !== null && fit.after < 0.995 * fit.before) {
    place = multiply(up, multiply(back, multiply(down, place)));
    small = layHalf();
  }
  const field = localField(luma, small, openHalf(), hw, hh, { reachPx: reach / 2, cellPx: 4, quick: true });
  const shift: Shift | null = field === null ? null : { field, scale: 0.5, x0: 0, y0: 0 };
  return { laid: layPart(picture, x0, y0, place, w, h, 'lanczos3', 'clamp', shift), shows: validity(source, place, w, h, shift) };
}

/** Strikes out of `shows` what is darker than the still picture as a shadow would make it. */
function withoutDarker(shows: Float32Array, laid: Picture, r: NearRequest): void {
  const { width: w, height: h } = laid;
  const a = gaussianPlane(lumaOf(laid), w, h, 2), b = gaussianPlane(lumaOf(r.still), w, h, 2);
  for (let i = 0; i < shows.length; i++) if (r.seen[i]! > 0.99 && a[i]! < DARKER * b[i]!) shows[i] = 0;
}

/** 1 well inside what is seen, falling to 0 at its edge; the way to the edge is measured at half the size. */
function soft(valid: Float32Array, w: number, h: number): Float32Array {
  const hw = halfSize(w), hh = halfSize(h), gone = new Float32Array(hw * hh), out = new Float32Array(w * h);
  let any = false;
  for (let i = 0; i < valid.length; i++) if (!(valid[i]! > 0.99)) { gone[(Math.floor(i / w) >> 1) * hw + ((i % w) >> 1)] = 1; any = true; }
  if (!any) return out.fill(1);
  const far = double(distanceToSet(gone, hw, hh), hw, hh, w, h);
  for (let i = 0; i < out.length; i++) out[i] = valid[i]! > 0.99 ? Math.min(1, (2 * far[i]!) / SOFT) : 0;
  return out;
}
