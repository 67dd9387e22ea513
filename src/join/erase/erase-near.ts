/**
 * What a frame hides, from the frames nearest in time that show it: where the camera travels through depth, shakes out
 * of focus or the set itself stirs, one still picture of the set (erase-mosaic.ts) is no frame's truth, but a moment
 * before or after is nearly this one's. Each near frame is brought over the frame (near-place.ts), its light by the
 * ratio; all of them and the still picture are then averaged pixel by pixel, each with the weight that its squared
 * difference from the frame beside the hole earns (an inverse-variance mean, the variance carried over the hole by
 * push-pull: Gortler et al., "The Lumigraph", SIGGRAPH 1996).
 */
import { maskBox, withRoom } from '../../image/mask-box.js';
import { multiply, type Mat3 } from '../../geometry/mat3.js';
import { distanceToSet } from '../../image/distance.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { dilate } from '../../image/morphology.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { double, halfSize, halve } from '../../image/pyramid.js';
import { pushPull } from '../../image/push-pull.js';
import { codedLuma } from './coded-luma.js';
import { gainOf } from './light-gain.js';
import type { MosaicSource } from './mosaic-source.js';
import { differing } from './passing-pieces.js';
import { cropPicture, cropPlane } from './erase-seam.js';
import { shadowBeside } from './erase-shadow.js';
import type { PartBox } from '../render/frame-part.js';
import type { Shown } from './way-between.js';
import { chooseNear } from './near-choice.js';
import { bringOver } from './near-place.js';

/** Near frames laid over at most. */
const NEAR = 8;
/**
 * What a near frame misses inside the hidden part beyond what it misses beside it grows by so much (rms, coded) with
 * each frame between: things stir by themselves, light drifts (read on real clips, 4 to 22 frames apart).
 */
const PER_FRAME = 0.002;
/** What it adds to the variance that no point was carried to a place: its way is its neighbours'. */
const UNTOLD = 0.1 ** 2;
/** Differences are counted up to this (coded): what lies beyond belongs to another thing. */
const MOST_DIFFERENCE = 0.15;
/** Width over which a near frame's edge passes into the others, px. */
const SOFT = 6;
/** So much of the frame about the hidden part is looked at, px and as a share of its larger side. */
const ROOM_PX = 48;
const ROOM = 0.25;

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
  /** Something passes before the set (erase-passing.ts): near frames count only where they show the set. */
  readonly struck?: boolean;
}

/**
 * Mean squared difference of two pictures where `weight` is over a half, smoothed over some pixels and carried over the
 * rest; at half the size. Null where too little is to be compared.
 */
function varianceOf(around: Picture, fill: Picture, weight: Float32Array): Float32Array | null {
  const { width: w, height: h } = around,
    n = w * h;
  const d = new Float32Array(n),
    k = new Float32Array(n);
  let count = 0;
  for (let i = 0; i < n; i++) {
    if (!(weight[i]! > 0.5)) continue;
    let e = 0;
    for (let c = 0; c < 3; c++)
      e += Math.min(MOST_DIFFERENCE, Math.abs(around.data[c * n + i]! - fill.data[c * n + i]!)) ** 2 / 3;
    d[i] = e;
    k[i] = 1;
    count++;
  }
  if (count < 300) return null;
  const hw = halfSize(w),
    hh = halfSize(h),
    hd = halve(d, w, h),
    hk = halve(k, w, h);
  const sum = gaussianPlane(hd, hw, hh, 2),
    all = gaussianPlane(hk, hw, hh, 2);
  for (let i = 0; i < hd.length; i++) {
    hd[i] = all[i]! > 0.05 ? sum[i]! / all[i]! : 0;
    hk[i] = 0.2 * hk[i]!;
  }
  return double(pushPull([hd], hk, hw, hh)[0]!, hw, hh, w, h);
}

/** Root of the mean squared difference beside the hole. */
export function differenceBeside(
  around: Picture,
  fill: Picture,
  hidden: Float32Array,
  seen: Float32Array,
  bandPx: number,
): number {
  const { width: w, height: h } = around,
    n = w * h;
  const near = distanceToSet(hidden, w, h);
  let sum = 0,
    count = 0;
  for (let i = 0; i < n; i++) {
    if (hidden[i]! > 0 || !(seen[i]! > 0.99) || near[i]! > bandPx) continue;
    for (let c = 0; c < 3; c++)
      sum += Math.min(MOST_DIFFERENCE, Math.abs(around.data[c * n + i]! - fill.data[c * n + i]!)) ** 2 / 3;
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
    ...r,
    around: cropPicture(r.around, box),
    hidden: crop(r.hidden),
    still: cropPicture(r.still, box),
    seen: crop(r.seen),
    spread: crop(r.spread),
    toBox: multiply([1, 0, -box[0], 0, 1, -box[1], 0, 0, 1], r.toBox),
  });
  const fill: Picture = { ...r.still, data: r.still.data.slice() },
    seen = r.seen.slice();
  const pw = part.fill.width,
    pn = pw * part.fill.height;
  for (let y = box[1]; y < box[3]; y++) {
    const from = (y - box[1]) * pw,
      to = y * width + box[0];
    seen.set(part.seen.subarray(from, from + pw), to);
    for (let c = 0; c < 3; c++)
      fill.data.set(part.fill.data.subarray(c * pn + from, c * pn + from + pw), c * width * height + to);
  }
  return { fill, seen };
}

/** The hidden part with some room about it; whole pairs of pixels. */
function roomAbout(hidden: Float32Array, w: number, h: number): PartBox | null {
  const box = maskBox(hidden, w, h);
  if (box === null) return null;
  const room = Math.ceil(Math.max(ROOM_PX, ROOM * Math.max(box[2] - box[0], box[3] - box[1])));
  const [x0, y0, x1, y1] = withRoom(box, room, w, h);
  return [x0 & ~1, y0 & ~1, x1, y1];
}

function fillPart(r: NearRequest): { readonly fill: Picture; readonly seen: Float32Array } {
  const { width: w, height: h } = r.around,
    n = w * h;
  const sum = createPicture(w, h, 3),
    total = new Float32Array(n),
    seen = new Float32Array(n);
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
  const frameShows: Shown = {
    luma: halve(codedLuma(r.around), w, h),
    open: halve(r.hidden, w, h).map((v) => (v > 0 ? 0 : 1)),
  };
  for (const place of chooseNear(r.sources, r.frame, r.toBox, r.hidden, w, NEAR)) {
    const found = bringOver(place, frameShows, w, h);
    if (found === null) continue;
    const { source } = place,
      { laid, shows, told } = found,
      known = open(shows);
    const gain = gainOf(laid, r.around, known);
    for (let c = 0; c < 3; c++) for (let i = c * n; i < (c + 1) * n; i++) laid.data[i] = laid.data[i]! * gain[c]!;
    const variance = varianceOf(r.around, laid, known);
    if (variance === null) continue;
    const later = (PER_FRAME * (source.frame - r.frame)) ** 2;
    if (r.lit) withoutShadow(shows, laid, r);
    if (r.struck === true) withoutPassing(shows, laid, r);
    add(laid, soft(shows, w, h), variance, told === null ? () => later : (i) => later + UNTOLD * (1 - told[i]!));
  }
  const known = open(r.seen),
    variance = varianceOf(r.around, r.still, known);
  if (variance !== null) {
    const apart = gaussianPlane(
      r.spread.map((v) => v * v),
      w,
      h,
      3,
    );
    add(r.still, soft(r.seen, w, h), variance, (i) => apart[i]!);
  }
  for (let i = 0; i < n; i++)
    for (let c = 0; c < 3; c++) {
      const o = c * n + i,
        t = total[i]!,
        made = r.still.data[o]!;
      sum.data[o] = t > 0 ? made + Math.min(1, seen[i]!) * (sum.data[o]! / t - made) : made;
    }
  return { fill: sum, seen };
}

/**
 * Strikes out of `shows` the shadow that what is erased throws in the near frame: beside what hides the set there,
 * darker than the still picture, its texture handed on.
 */
function withoutShadow(shows: Float32Array, laid: Picture, r: NearRequest): void {
  const hides = shows.map((v) => (v > 0.99 ? 0 : 1));
  const shadow = shadowBeside(laid, r.still, hides, r.seen);
  if (shadow !== null) for (let i = 0; i < shows.length; i++) if (shadow[i]! > 0) shows[i] = 0;
}

/** Strikes out of `shows` what passes before the set in the near frame. */
function withoutPassing(shows: Float32Array, laid: Picture, r: NearRequest): void {
  const { width: w, height: h } = laid;
  const there = dilate(
    differing(
      laid,
      r.still,
      shows.map((v, i) => (v > 0.99 && r.seen[i]! > 0.99 ? 1 : 0)),
    ),
    w,
    h,
    3,
  );
  for (let i = 0; i < shows.length; i++) if (there[i]! > 0) shows[i] = 0;
}

/** 1 well inside what is seen, falling to 0 at its edge; the way to the edge is measured at half the size. */
function soft(valid: Float32Array, w: number, h: number): Float32Array {
  const hw = halfSize(w),
    hh = halfSize(h),
    gone = new Float32Array(hw * hh),
    out = new Float32Array(w * h);
  let any = false;
  for (let i = 0; i < valid.length; i++)
    if (!(valid[i]! > 0.99)) {
      gone[(Math.floor(i / w) >> 1) * hw + ((i % w) >> 1)] = 1;
      any = true;
    }
  if (!any) return out.fill(1);
  const far = double(distanceToSet(gone, hw, hh), hw, hh, w, h);
  for (let i = 0; i < out.length; i++) out[i] = valid[i]! > 0.99 ? Math.min(1, (2 * far[i]!) / SOFT) : 0;
  return out;
}
