/**
 * The performer's outline carried from one frame to the next: along the dense motion between the two (`image/flow.ts`),
 * then set right by the colours that both sides had about each place, in the frame before and on the nearest frame that
 * a person settled, and by the picture's own edges (a least cut). Signed distances say how far a pixel lay inside; what
 * lies deep inside or far outside stays.
 */
import { signedDistance } from '../../image/distance.js';
import { FlowPicture, motionAt } from '../../image/flow.js';
import { gridCut } from '../../image/grid-cut.js';
import { sampleBilinear } from '../../image/sampling.js';
import { middleOfMask } from './middle-of-mask.js';
import { EDGE_FLOOR, EDGE_WEIGHT, sides, tidy } from './first-outline.js';
import { localOdds } from './local-odds.js';
import { boxAbout, cutEdges, partOf, partOfPlane, type SmallBox, type SmallFrame } from './small-frame.js';

/** Small pixels about the carried line within which colours may move it, and over which its own say wanes. */
const BAND = 16,
  SETTLED = 3;
/** Most that the carried line says of a pixel, as log odds. */
const CARRIED = 3;
/** Reach of the near colours and the rim about the old line that is no sample. */
const REACH = 22,
  DOUBTFUL = 1.5;
/** Room about the old outline for what moves. */
const ROOM = 0.25,
  ROOM_PX = 20;

export interface Settled {
  readonly frame: SmallFrame;
  /** 1 performer, 0 set, of the whole small picture. */
  readonly mask: Uint8Array;
}

/** A settled frame that others are held against: which of its pixels are either side's is told once for all of them. */
export interface SettledKey extends Settled {
  /** 1 surely performer, 2 surely set, 0 neither. */
  readonly label: Uint8Array;
}

/** A settled frame with what is surely either side's in it. @param mask 1 performer, 0 set, of the whole frame */
export function settledKey(frame: SmallFrame, mask: Uint8Array): SettledKey {
  return { frame, mask, label: sides(mask, frame.width, frame.height, DOUBTFUL) };
}

/**
 * Mask of `now` from that of a neighbouring frame.
 *
 * @param key the nearest frame that was settled by a person or at first
 */
export function carryOutline(before: Settled, now: SmallFrame, key: SettledKey | null): Uint8Array {
  const { width: w, height: h } = now,
    out = new Uint8Array(w * h),
    box = boxAbout(before.mask, w, h, ROOM, ROOM_PX);
  if (box === null || box[2] - box[0] < 16 || box[3] - box[1] < 16) return out;
  const was = partOf(before.frame, box),
    is = partOf(now, box),
    mask = partOfPlane(before.mask, w, box),
    bw = is.width,
    bh = is.height,
    n = bw * bh;
  const { u, v } = flowBetween(was, is);
  const depth = signedDistance(Float32Array.from(mask), bw, bh),
    carried = new Float32Array(n),
    old = Float32Array.from(sides(mask, bw, bh, DOUBTFUL)),
    label = new Uint8Array(n),
    moved: SmallFrame = { width: bw, height: bh, block: is.block, data: new Float32Array(3 * n) };
  for (let y = 0, i = 0; y < bh; y++)
    for (let x = 0; x < bw; x++, i++) {
      const fx = x - u[i]! + 0.5,
        fy = y - v[i]! + 0.5;
      carried[i] = sampleBilinear(depth, bw, bh, fx, fy);
      const xx = Math.min(bw - 1, Math.max(0, Math.round(fx - 0.5))),
        yy = Math.min(bh - 1, Math.max(0, Math.round(fy - 0.5))),
        j = yy * bw + xx;
      label[i] = old[j]!;
      for (let p = 0; p < 3; p++) moved.data[p * n + i] = was.data[p * n + j]!;
    }
  const near = localOdds(is, moved, label, within(carried, BAND), REACH);
  if (key !== null) {
    // The settled frame's colours, brought along by nothing but the outline's own shift: they keep the carried line
    // from creeping.
    const shifted = shiftedKey(key, before.mask, w, h, box);
    if (shifted !== null) {
      const own = localOdds(is, shifted.frame, shifted.label, within(carried, BAND), REACH + 10);
      for (let i = 0; i < n; i++) near[i] = 0.7 * near[i]! + 0.5 * own[i]!;
    }
  }
  const settled = settle(is, carried, near);
  for (let y = 0; y < bh; y++) out.set(settled.subarray(y * bw, (y + 1) * bw), (y + box[1]) * w + box[0]);
  return out;
}

/** Motion to `is` from `was`, on luma: this pixel was at x − u. */
function flowBetween(was: SmallFrame, is: SmallFrame): { u: Float32Array; v: Float32Array } {
  const n = is.width * is.height,
    a = new FlowPicture(was.data.slice(0, n), was.width, was.height),
    b = new FlowPicture(is.data.slice(0, n), is.width, is.height);
  try {
    return motionAt(a, b, 1, { finest: 1 });
  } finally {
    a.close();
    b.close();
  }
}

function within(depth: Float32Array, band: number): Uint8Array {
  return Uint8Array.from(depth, (d) => (Math.abs(d) < band ? 1 : 0));
}

function shiftedKey(
  key: SettledKey,
  mask: Uint8Array,
  w: number,
  h: number,
  box: SmallBox,
): { frame: SmallFrame; label: Uint8Array } | null {
  const a = middleOfMask(key.mask, w),
    b = middleOfMask(mask, w);
  if (a === null || b === null) return null;
  const dx = Math.round(a[0] - b[0]),
    dy = Math.round(a[1] - b[1]),
    bw = box[2] - box[0],
    bh = box[3] - box[1],
    n = bw * bh,
    m = w * h,
    out: SmallFrame = { width: bw, height: bh, block: key.frame.block, data: new Float32Array(3 * n) },
    label = new Uint8Array(n);
  for (let y = 0, i = 0; y < bh; y++)
    for (let x = 0; x < bw; x++, i++) {
      const u = x + box[0] + dx,
        v = y + box[1] + dy;
      if (u < 0 || v < 0 || u >= w || v >= h) continue;
      label[i] = key.label[v * w + u]!;
      for (let p = 0; p < 3; p++) out.data[p * n + i] = key.frame.data[p * m + v * w + u]!;
    }
  return { frame: out, label };
}

/** The cut: near colours and the carried line for each pixel, the picture's edges between them. */
export function settle(frame: SmallFrame, depth: Float32Array, near: Float32Array | null): Uint8Array {
  const { width: w, height: h } = frame,
    odds = new Float32Array(w * h);
  for (let i = 0; i < odds.length; i++) {
    const d = depth[i]!;
    odds[i] =
      Math.abs(d) >= BAND ? Math.sign(d) * 1e4 : CARRIED * Math.tanh(d / SETTLED) + (near === null ? 0 : near[i]!);
  }
  return tidy(gridCut(odds, cutEdges(frame, EDGE_WEIGHT, EDGE_FLOOR), w, h), null, w, h);
}

/**
 * Least distance between two lines, small pixels, from which what lies between them is a thing of its own (what shows
 * between two legs) and no rim of mixed colours; and how much the frame's own colours then say. Tried on two spans of
 * two real clips each (docs/join/peel.md).
 */
const APART = 5,
  OWN_COLOURS = 1.4;

/** What the frame's own colours say where one mask holds what the other does not, 0 elsewhere. @param da signed distances */
function oddsOfDisagreed(frame: SmallFrame, da: Float32Array, db: Float32Array): Float32Array {
  const label = new Uint8Array(da.length),
    disagreed = new Uint8Array(da.length);
  for (let i = 0; i < da.length; i++) {
    const a = da[i]!,
      b = db[i]!;
    if (Math.min(a, b) > DOUBTFUL) label[i] = 1;
    else if (Math.max(a, b) < -DOUBTFUL) label[i] = 2;
    else if (a > 0 !== b > 0 && Math.abs(a - b) > APART) disagreed[i] = 1;
  }
  return localOdds(frame, frame, label, disagreed, REACH + 10).map((v) => OWN_COLOURS * v);
}

/**
 * Two masks of one frame, carried to it from either side, as one: distances weighed, and the line set on the picture's
 * edges again. Where they disagree (one side's way has taken in what shows between two legs, and by time alone it would
 * come or go all at once), the frame's own colours beside it speak too, of what both call performer or set.
 */
export function joinOutlines(frame: SmallFrame, a: Uint8Array, b: Uint8Array, weightOfB: number): Uint8Array {
  const { width: w, height: h } = frame,
    both = a.map((v, i) => (v === 1 || b[i] === 1 ? 1 : 0)),
    box = boxAbout(both, w, h, 0, BAND + 4);
  if (box === null) return both;
  const part = partOf(frame, box),
    bw = part.width,
    da = signedDistance(Float32Array.from(partOfPlane(a, w, box)), bw, part.height),
    db = signedDistance(Float32Array.from(partOfPlane(b, w, box)), bw, part.height);
  // A mask that is empty has lost the performer: the other one speaks alone.
  const empty = (m: Uint8Array): boolean => m.every((v) => v === 0),
    k = empty(a) ? 1 : empty(b) ? 0 : weightOfB;
  const settled = settle(
      part,
      da.map((d, i) => (1 - k) * d + k * db[i]!),
      k === weightOfB ? oddsOfDisagreed(part, da, db) : null,
    ),
    out = new Uint8Array(w * h);
  for (let y = 0; y < part.height; y++) out.set(settled.subarray(y * bw, (y + 1) * bw), (y + box[1]) * w + box[0]);
  return out;
}
