/**
 * How a picture repeats itself: the shifts by which most of its patches find their likeness elsewhere in it. A line, a
 * skirting, planks or a horizon repeat along themselves, so these few shifts carry them through a hole (K. He, J. Sun,
 * "Statistics of patch offsets for image completion", ECCV 2012, section 3). Likenesses are found by randomised search
 * (C. Barnes et al., "PatchMatch", SIGGRAPH 2009); shifts shorter than a fifteenth of the picture's longer side say
 * only that it is smooth.
 */
import { gaussianPlane } from '../../image/gaussian.js';
import type { RandomStream } from '../../core/random.js';
import { percentile } from '../../image/statistics.js';

const RADIUS = 3;
const SHORTEST = 1 / 15;
const SWEEPS = 4;
/** Shifts are counted with a little slack (sd, px), and peaks stand so far apart, px. */
const SLACK = 1.4;
const APART = 4;
/** Up to this percentile of the unlikeness of a picture's patches to others a patch is usual. */
const USUAL = 60;

/** From a pixel to the one that it is copied from, px. */
export interface Offset {
  readonly dx: number;
  readonly dy: number;
}

export interface Repetition {
  /** The strongest shifts, most frequent first. */
  readonly offsets: Offset[];
  /**
   * By how much each pixel's patch is less like its nearest likeness elsewhere than is usual in the picture (rms,
   * coded): a thing that stands there once. 0 where nothing is known.
   */
  readonly rare: Float32Array;
}

/**
 * The shifts by which a picture repeats itself, at most `most`, and what in it does not. @param rgb height × width × 3
 * interleaved, coded
 * @param isSource 1 at centres of patches (7 × 7) wholly known
 */
export function repetition(
  rgb: Float32Array,
  isSource: Uint8Array,
  w: number,
  h: number,
  most: number,
  random: RandomStream,
): Repetition {
  const centres: number[] = [];
  for (let i = 0; i < w * h; i++) if (isSource[i] !== 0) centres.push(i);
  const least = Math.max(4, Math.round(SHORTEST * Math.max(w, h)));
  if (centres.length < 64) return { offsets: [], rare: new Float32Array(w * h) };
  const at = new Int32Array(w * h).fill(-1),
    cost = new Float32Array(w * h).fill(Infinity);
  const try_ = (t: number, s: number): void => {
    const dx = (s % w) - (t % w),
      dy = Math.floor(s / w) - Math.floor(t / w);
    if (dx * dx + dy * dy < least * least) return;
    const d = distance(rgb, w, t, s, cost[t]!);
    if (d < cost[t]!) {
      cost[t] = d;
      at[t] = s;
    }
  };
  for (const t of centres) for (let k = 0; k < 3; k++) try_(t, centres[random.below(centres.length)]!);
  for (let sweep = 0; sweep < SWEEPS; sweep++) {
    const back = (sweep & 1) === 1,
      step = back ? 1 : -1;
    for (let k = 0; k < centres.length; k++) {
      const t = centres[back ? centres.length - 1 - k : k]!;
      for (const o of [t + step, t + step * w]) {
        if (o < 0 || o >= w * h || at[o]! < 0) continue;
        const s = at[o]! - (o - t);
        if (s >= 0 && s < w * h && isSource[s] !== 0) try_(t, s);
      }
      for (let r = Math.max(w, h); r >= 1 && at[t]! >= 0; r >>= 1) {
        const x = (at[t]! % w) + Math.round((2 * random.uniform() - 1) * r),
          y = Math.floor(at[t]! / w) + Math.round((2 * random.uniform() - 1) * r);
        if (x >= 0 && y >= 0 && x < w && y < h && isSource[y * w + x] !== 0) try_(t, y * w + x);
      }
    }
  }
  return { offsets: peaks(at, w, h, most), rare: rarity(cost, w, h) };
}

function rarity(cost: Float32Array, w: number, h: number): Float32Array {
  const out = new Float32Array(w * h),
    told: number[] = [],
    pixels = 3 * (2 * RADIUS + 1) ** 2;
  for (let i = 0; i < out.length; i++)
    if (Number.isFinite(cost[i]!)) {
      out[i] = Math.sqrt(cost[i]! / pixels);
      told.push(out[i]!);
    }
  if (told.length === 0) return out;
  const usual = percentile(told, USUAL);
  for (let i = 0; i < out.length; i++) out[i] = Math.max(0, out[i]! - usual);
  return out;
}

function distance(rgb: Float32Array, w: number, a: number, b: number, stop: number): number {
  let sum = 0;
  for (let dy = -RADIUS; dy <= RADIUS; dy++) {
    let i = 3 * (a + dy * w - RADIUS),
      j = 3 * (b + dy * w - RADIUS);
    for (let k = 0; k < 3 * (2 * RADIUS + 1); k++, i++, j++) {
      const d = rgb[i]! - rgb[j]!;
      sum += d * d;
    }
    if (sum >= stop) return sum;
  }
  return sum;
}

/** Peaks of the histogram of shifts; one and its opposite say the same and both count. */
function peaks(at: Int32Array, w: number, h: number, most: number): Offset[] {
  const W = 2 * w + 1,
    H = 2 * h + 1,
    count = new Float32Array(W * H);
  for (let t = 0; t < at.length; t++) {
    if (at[t]! < 0) continue;
    const dx = (at[t]! % w) - (t % w),
      dy = Math.floor(at[t]! / w) - Math.floor(t / w);
    for (const s of [1, -1]) {
      const o = (s * dy + h) * W + s * dx + w;
      count[o] = count[o]! + 1;
    }
  }
  const soft = gaussianPlane(count, W, H, SLACK),
    found: { o: number; n: number }[] = [];
  for (let y = 1; y < H - 1; y++)
    for (let x = 1; x < W - 1; x++) {
      const o = y * W + x,
        n = soft[o]!;
      if (n > 0.2 && n >= soft[o - 1]! && n >= soft[o + 1]! && n >= soft[o - W]! && n >= soft[o + W]!)
        found.push({ o, n });
    }
  found.sort((a, b) => b.n - a.n || a.o - b.o);
  const out: Offset[] = [];
  for (const { o } of found) {
    if (out.length >= most) break;
    const dx = (o % W) - w,
      dy = Math.floor(o / W) - h;
    if (out.every((p) => (p.dx - dx) ** 2 + (p.dy - dy) ** 2 >= APART * APART)) out.push({ dx, dy });
  }
  return out;
}
