/**
 * What of a frame stands before the set in what is erased: the pieces in which the frame differs from the still picture
 * of the set, brought into the frame's own light; and whether near frames laid over the frame already show them. Used
 * for what passes at a depth of its own (erase-passing.ts).
 */
import type { Mat3 } from '../../geometry/mat3.js';
import { connectedComponents } from '../../image/components.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { dilate, open } from '../../image/morphology.js';
import { plane, type Picture } from '../../image/picture.js';
import { gainOf } from './light-gain.js';
import type { MosaicSource } from './mosaic-source.js';

/** What differs from the set by more (largest channel, coded, smoothed over a pixel) belongs to something else. */
const DIFFERS = 0.08;
/** Pieces narrower than twice this are edges a little out of place, px. */
export const RIM_PX = 2;
/** Pieces of fewer pixels are nothing. */
export const LEAST_PX = 120;
/** Where more of the surroundings differs, the still picture is none of the set. */
const MOST_SHARE = 0.35;
/**
 * Near frames miss the pieces where they differ there by more than so many times (rms) what they differ by elsewhere.
 */
const MISSES = 1.5;
/**
 * Near frames are asked about the pieces so far about the hidden part, px: what is laid over the frame reaches little
 * farther.
 */
const BESIDE_PX = 32;

/** One frame's box, in which something passes before what is erased. Planes are of the box. */
export interface PassingRequest {
  readonly frame: number;
  /** The frame over the box, display-coded; > 0 where it hides the set. */
  readonly around: Picture;
  readonly hidden: Float32Array;
  /** The still picture of the set over the box, and how far it was seen, 0..1. */
  readonly still: Picture;
  readonly seen: Float32Array;
  /** What the near frames make of the box: the rival. */
  readonly near: Picture;
  /** Reference pixels → box pixels. */
  readonly toBox: Mat3;
  readonly sources: readonly MosaicSource[];
}

/** Pieces (0 or 1) where a picture differs from the set. */
export function differing(picture: Picture, still: Picture, known: Float32Array): Float32Array {
  const { width: w, height: h } = picture,
    n = w * h,
    most = new Float32Array(n);
  for (let c = 0; c < 3; c++) {
    const d = new Float32Array(n),
      a = plane(picture, c),
      b = plane(still, c);
    for (let i = 0; i < n; i++) if (known[i]! > 0.5) d[i] = a[i]! - b[i]!;
    const s = gaussianPlane(d, w, h, 1);
    for (let i = 0; i < n; i++) most[i] = Math.max(most[i]!, Math.abs(s[i]!));
  }
  for (let i = 0; i < n; i++) most[i] = known[i]! > 0.5 && most[i]! > DIFFERS ? 1 : 0;
  return open(most, w, h, RIM_PX);
}

/** What of a frame stands before the set. */
export interface Pieces {
  /** 1 where frame and still picture both tell. */
  readonly known: Float32Array;
  /** The still picture in the frame's light. */
  readonly still: Picture;
  /** 1 where the frame shows a piece that reaches the hidden part; null where none does. */
  readonly visible: Float32Array | null;
}

/** The frame's own pieces before the set; null where so much differs that the still picture is none of it. */
export function piecesBefore(r: Omit<PassingRequest, 'near'>): Pieces | null {
  const { width: w, height: h } = r.around,
    known = new Float32Array(w * h);
  for (let i = 0; i < known.length; i++) known[i] = r.hidden[i]! <= 0 && r.seen[i]! > 0.99 ? 1 : 0;
  const still = litAs(r.still, r.around, known),
    mask = differing(r.around, still, known);
  let all = 0,
    open = 0;
  for (let i = 0; i < mask.length; i++) {
    open += known[i]!;
    all += mask[i]!;
  }
  if (all > MOST_SHARE * open) return null;
  return { known, still, visible: all < LEAST_PX ? null : touching(mask, r.hidden, w, h) };
}

/** Whether the near frames miss the pieces visible about the hidden part, by what they miss beside these. */
export function missesPieces(
  around: Picture,
  near: Picture,
  hidden: Float32Array,
  { known, visible }: Pieces,
): boolean {
  if (visible === null) return false;
  const { width: w, height: h } = around,
    n = w * h,
    about = besides(hidden, w, h),
    sums = [0, 0],
    counts = [0, 0];
  for (let i = 0; i < n; i++) {
    if (!(known[i]! > 0.5) || !(about[i]! > 0)) continue;
    const k = visible[i]! > 0 ? 0 : 1;
    for (let c = 0; c < 3; c++) sums[k] = sums[k]! + (near.data[c * n + i]! - around.data[c * n + i]!) ** 2;
    counts[k] = counts[k]! + 1;
  }
  return counts[0]! > 0 && counts[1]! > 0 && sums[0]! / counts[0]! > MISSES ** 2 * (sums[1]! / counts[1]!);
}

/** 1 in what is hidden and within `BESIDE_PX` of it, else 0; `h` × `w`. */
export function besides(hidden: Float32Array, w: number, h: number): Float32Array {
  return dilate(
    hidden.map((v) => (v > 0 ? 1 : 0)),
    w,
    h,
    BESIDE_PX,
  );
}

/** A copy of `picture` in the light of `like`, by the ratio where both are known. */
export function litAs(picture: Picture, like: Picture, known: Float32Array): Picture {
  const n = picture.width * picture.height,
    gain = gainOf(picture, like, known),
    data = picture.data.slice();
  for (let c = 0; c < 3; c++) for (let i = c * n; i < (c + 1) * n; i++) data[i] = data[i]! * gain[c]!;
  return { ...picture, data };
}

/** The pieces that reach the hidden part; null where none does. */
function touching(mask: Float32Array, hidden: Float32Array, w: number, h: number): Float32Array | null {
  const rim = dilate(
    hidden.map((v) => (v > 0 ? 1 : 0)),
    w,
    h,
    RIM_PX + 3,
  );
  const { labels } = connectedComponents(Uint8Array.from(mask), w, h, 8);
  const reach = new Set<number>(),
    size = new Map<number, number>();
  for (let i = 0; i < mask.length; i++) {
    if (!(mask[i]! > 0.5)) continue;
    size.set(labels[i]!, (size.get(labels[i]!) ?? 0) + 1);
    if (rim[i]! > 0) reach.add(labels[i]!);
  }
  const out = new Float32Array(mask.length);
  let count = 0;
  for (let i = 0; i < out.length; i++)
    if (mask[i]! > 0.5 && reach.has(labels[i]!) && size.get(labels[i]!)! >= LEAST_PX) {
      out[i] = 1;
      count++;
    }
  return count < LEAST_PX ? null : out;
}
