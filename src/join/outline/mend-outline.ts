/**
 * A carried outline mended by the set as other frames of the take show it: a leg or tail that came into view later is
 * taken in, a strip of set that was dragged along is let go. How much a difference to the set says is read on the frame
 * itself, from the set about the performer and from the performer's inside, so that a set which is not found again (by
 * parallax, blur, wind) says nothing. Only what that evidence carries is changed: elsewhere the line stays to the pixel.
 */
import { apply, type Mat3 } from '../../geometry/mat3.js';
import { boxMean } from '../../image/box.js';
import { distanceToSet, signedDistance } from '../../image/distance.js';
import { gridCut } from '../../image/grid-cut.js';
import { labelAreas } from '../peel/label-areas.js';
import { middleOfMask } from './middle-of-mask.js';
import type { Settled } from './carry-outline.js';
import { EDGE_FLOOR, EDGE_WEIGHT, tidy } from './first-outline.js';
import { setAgain } from './set-again.js';
import { boxAbout, cutEdges, partOf, partOfPlane } from './small-frame.js';

/** Room about the line, share of its size and small pixels; farthest from the line that anything is taken in. */
const ROOM = 0.3,
  ROOM_PX = 50,
  FARTHEST = 40;
/** How far a performer must have gone against the set for what stays behind inside both lines to be set. */
const GONE = 8;
/** Frames that must have seen a place clear of the performer before it is told covered now. */
const SEEN = 2;
/** Bins of the log difference and its bounds; fewest pixels of a side that teach; inside and outside of the line. */
const BINS = 24,
  LEAST = -3,
  MOST = 3,
  FEWEST = 150,
  INSIDE = 4,
  OUTSIDE = -6;
/** Most that one pixel says, and weights of what is covered, found again, and found again inside both lines. */
const MOST_ODDS = 5,
  COVERED = 1.8,
  FOUND = 1.5;
/** Window of the set about, and the share of it found again from which on, and over which, it is believed. */
const RING = 45,
  BELIEVED = 0.2,
  OVER = 0.25;
/** What the line as it was says, and over how many small pixels. */
const CARRIED = 3,
  SETTLED = 3;
/** Fewest small pixels that change together, and least mean evidence for it. */
const LEAST_PART = 40,
  LEAST_MEAN = 1.5;

/** Another frame of the take and the camera's move to it, small pixels. */
export interface OtherFrame extends Settled {
  readonly move: Mat3;
}

/** The mask mended, or null where it stays as it is. */
export function mendOutline(now: Settled, others: readonly OtherFrame[]): Uint8Array | null {
  const { width: w, height: h } = now.frame,
    box = boxAbout(now.mask, w, h, ROOM, ROOM_PX);
  if (box === null || others.length === 0 || box[2] - box[0] < 32 || box[3] - box[1] < 32) return null;
  const is = partOf(now.frame, box),
    bw = is.width,
    bh = is.height,
    mask = partOfPlane(now.mask, w, box),
    depth = signedDistance(Float32Array.from(mask), bw, bh),
    rests = leastRests(now, others, box, is, depth),
    said = evidence(rests, depth, bw, bh);
  if (said === null) return null;
  const odds = said.map((e, i) => (depth[i]! < -FARTHEST ? -1e4 : CARRIED * Math.tanh(depth[i]! / SETTLED) + e));
  const cut = tidy(gridCut(odds, cutEdges(is, EDGE_WEIGHT, EDGE_FLOOR), bw, bh), null, bw, bh);
  closeHollows(cut, mask, bw, bh);
  let changed = keepCarried(cut, mask, said, 1, bw, bh);
  changed = keepCarried(cut, mask, said, 0, bw, bh) || changed;
  if (!changed) return null;
  const out = now.mask.slice();
  for (let y = 0; y < bh; y++) out.set(cut.subarray(y * bw, (y + 1) * bw), (y + box[1]) * w + box[0]);
  return out;
}

/** Of each pixel the least difference to the set (NaN where no frame shows it). */
interface Rests {
  /** On frames that show its place clear of their performer, and how many do. */
  readonly clear: Float32Array;
  readonly seen: Uint8Array;
  /** On frames whose performer has gone on: places at or inside their line, and clear of it. */
  readonly within: Float32Array;
  readonly beside: Float32Array;
}

/** Whether the middle stands elsewhere on the other frame than the set's motion alone would bring it. */
function goneFrom(
  here: readonly [number, number] | null,
  there: readonly [number, number] | null,
  move: OtherFrame['move'],
): boolean {
  if (here === null || there === null) return false;
  const still = apply(move, here[0] + 0.5, here[1] + 0.5);
  return Math.hypot(there[0] + 0.5 - still[0], there[1] + 0.5 - still[1]) > GONE;
}

function leastRests(
  now: Settled,
  others: readonly OtherFrame[],
  box: readonly [number, number, number, number],
  is: Settled['frame'],
  depth: Float32Array,
): Rests {
  const n = depth.length,
    { width: w, height: h } = now.frame,
    none = (): Float32Array => new Float32Array(n).fill(NaN),
    out = { clear: none(), seen: new Uint8Array(n), within: none(), beside: none() },
    here = middleOfMask(now.mask, w);
  const lower = (plane: Float32Array, i: number, v: number): void => {
    if (!(plane[i]! <= v)) plane[i] = v;
  };
  for (const o of others) {
    const { rest, seen } = setAgain(is, box, depth, o.frame, distanceToSet(o.mask, w, h), o.move),
      gone = goneFrom(here, middleOfMask(o.mask, w), o.move);
    for (let i = 0; i < n; i++) {
      if (seen[i] === 2) {
        lower(out.clear, i, rest[i]!);
        out.seen[i]!++;
      }
      if (gone && seen[i] !== 0) lower(seen[i] === 2 ? out.beside : out.within, i, rest[i]!);
    }
  }
  return out;
}

const bin = (v: number): number => Math.min(BINS - 1, Math.max(0, Math.floor(((v - LEAST) / (MOST - LEAST)) * BINS)));

/** Log odds for the performer, 0 where nothing is known; null where nothing is known at all. */
function evidence({ clear, seen, within, beside }: Rests, depth: Float32Array, w: number, h: number) {
  const n = depth.length,
    said = new Float32Array(n),
    inner = logRatio(within, beside, depth),
    outer = logRatio(clear, clear, depth);
  if (inner === null && outer === null) return null;
  if (inner !== null) {
    // Inside both lines a difference says nothing (somebody stands there), and a smooth coat finds its like by chance.
    const mean = boxMean(
      within.map((z) => (Number.isNaN(z) ? 0 : inner[bin(z)]!)),
      w,
      h,
      3,
    );
    for (let i = 0; i < n; i++)
      if (!Number.isNaN(within[i]!)) said[i] = FOUND * Math.max(-MOST_ODDS, Math.min(0, mean[i]!));
  }
  if (outer === null) return said;
  const about = new Float32Array(n),
    again = new Float32Array(n);
  for (let i = 0; i < n; i++) {
    if (Number.isNaN(clear[i]!)) continue;
    said[i] = Math.max(-MOST_ODDS, Math.min(MOST_ODDS, outer[bin(clear[i]!)]!));
    if (depth[i]! >= -INSIDE) continue;
    about[i] = 1;
    if (said[i]! < 0) again[i] = 1;
  }
  const all = boxMean(about, w, h, RING),
    good = boxMean(again, w, h, RING);
  for (let i = 0; i < n; i++) {
    if (Number.isNaN(clear[i]!)) continue;
    const share = all[i]! > 0.02 ? good[i]! / all[i]! : 0,
      trust = seen[i]! < SEEN ? 0 : Math.max(0, Math.min(1, (share - BELIEVED) / OVER));
    said[i] = said[i]! * (said[i]! > 0 ? COVERED * trust : FOUND);
  }
  return said;
}

/**
 * Log odds of each bin for the performer against the set, rising (pool adjacent violators, M. Ayer et al., Annals of
 * Math. Statistics 26, 1955). The performer's inside is taken less the share that looks like set, as dragged strips do.
 */
function logRatio(inside: Float32Array, outside: Float32Array, depth: Float32Array): number[] | null {
  const a = new Float64Array(BINS),
    b = new Float64Array(BINS);
  let na = 0,
    nb = 0;
  for (let i = 0; i < depth.length; i++)
    if (depth[i]! > INSIDE && !Number.isNaN(inside[i]!)) {
      a[bin(inside[i]!)]!++;
      na++;
    } else if (depth[i]! < OUTSIDE && !Number.isNaN(outside[i]!)) {
      b[bin(outside[i]!)]!++;
      nb++;
    }
  if (na < FEWEST || nb < FEWEST) return null;
  let dragged = 1;
  const three = (p: Float64Array, i: number): number => (p[i - 1] ?? 0) + p[i]! + (p[i + 1] ?? 0);
  for (let i = 0; i < BINS; i++)
    if (three(b, i) > 0.1 * nb) dragged = Math.min(dragged, three(a, i) / na / (three(b, i) / nb));
  dragged = Math.min(0.5, 0.9 * dragged);
  const pools: { a: number; b: number; bins: number }[] = [];
  for (let i = 0; i < BINS; i++) {
    pools.push({ a: Math.max(0, a[i]! / na - (dragged * b[i]!) / nb) / (1 - dragged), b: b[i]! / nb, bins: 1 });
    while (pools.length > 1) {
      const q = pools.at(-1)!,
        p = pools.at(-2)!;
      if ((p.a + 1e-3) * (q.b + 1e-3) <= (q.a + 1e-3) * (p.b + 1e-3) && p.a + p.b >= 0.02) break;
      p.a += q.a;
      p.b += q.b;
      p.bins += q.bins;
      pools.pop();
    }
  }
  return pools.flatMap((p) => new Array<number>(p.bins).fill(Math.log((p.a + 0.002) / (p.b + 0.002))));
}

/** What is let go must reach the outside of the line as it was (in place). */
function closeHollows(cut: Uint8Array, mask: Uint8Array, w: number, h: number): void {
  const { labels, area } = labelAreas(
      cut.map((v) => 1 - v),
      w,
      h,
    ),
    open = new Uint8Array(area.length);
  for (let i = 0; i < cut.length; i++) if (cut[i] === 0 && mask[i] === 0) open[labels[i]!] = 1;
  for (let i = 0; i < cut.length; i++) if (cut[i] === 0 && open[labels[i]!] === 0) cut[i] = 1;
}

/** Takes back each part changed to `side` that is small or that the evidence does not carry; whether any is left. */
function keepCarried(
  cut: Uint8Array,
  mask: Uint8Array,
  said: Float32Array,
  side: 0 | 1,
  w: number,
  h: number,
): boolean {
  const changed = cut.map((v, i) => (v === side && mask[i] !== side ? 1 : 0)),
    { labels, area } = labelAreas(changed, w, h),
    sum = new Float64Array(area.length);
  for (let i = 0; i < cut.length; i++) if (changed[i] === 1) sum[labels[i]!] = sum[labels[i]!]! + said[i]!;
  let left = false;
  for (let i = 0; i < cut.length; i++) {
    if (changed[i] === 0) continue;
    const l = labels[i]!;
    if (area[l]! < LEAST_PART || (side === 1 ? sum[l]! : -sum[l]!) < LEAST_MEAN * area[l]!) cut[i] = 1 - side;
    else left = true;
  }
  return left;
}
