/**
 * How far a frame lies from the empty set at each pixel, in what it strays by where nobody stands: noise and coding,
 * told on the frame itself by the set's brightness. Bright and dark parts of a phone's file differ by a factor of
 * three.
 */
import { boxMean } from '../../image/box.js';

/** Steps of brightness, and pixels from which one of them is told by itself. */
const LEVELS = 12,
  LEAST_PIXELS = 40;
/** Every so manieth pixel is looked at. */
const EVERY = 3;
/**
 * The largest differences are others' (a branch, a shadow): the share looked at, and what makes its mean square whole.
 */
const KEPT = 0.9,
  WHOLE = 1.6;
/** Stray where no step is told, coded. */
const UNTOLD = 0.02;

/**
 * @param data coded RGB, planar @param clean the empty set as this frame renders it @param bare 1 where nobody stands
 * @param leastVariance noise of any file
 * @returns distance of each pixel's 3 × 3 mean over the usual stray, w × h
 */
export function offSet(
  data: Float32Array,
  clean: Float32Array,
  bare: Uint8Array,
  leastVariance: number,
  w: number,
  h: number,
): Float32Array {
  const n = w * h,
    stray = strayByLevel(data, clean, bare, leastVariance, n),
    off = new Float32Array(n),
    one = new Float32Array(n);
  for (let p = 0; p < 3 * n; p += n) {
    for (let i = 0; i < n; i += 1) one[i] = data[p + i]! - clean[p + i]!;
    const mean = boxMean(one, w, h, 1);
    for (let i = 0; i < n; i += 1) off[i] = off[i]! + mean[i]! * mean[i]!;
  }
  for (let i = 0; i < n; i += 1) off[i] = Math.sqrt(off[i]!) / stray[levelOf(clean, i, n)]!;
  return off;
}

function levelOf(clean: Float32Array, i: number, n: number): number {
  const l = 0.2126 * clean[i]! + 0.7152 * clean[n + i]! + 0.0722 * clean[2 * n + i]!;
  return Math.min(LEVELS - 1, Math.max(0, Math.floor(LEVELS * l)));
}

function strayByLevel(
  data: Float32Array,
  clean: Float32Array,
  bare: Uint8Array,
  leastVariance: number,
  n: number,
): Float64Array {
  const lists: number[][] = Array.from({ length: LEVELS }, () => []);
  for (let i = 0; i < n; i += EVERY) {
    if (bare[i] === 0) continue;
    let d = 0;
    for (let p = 0; p < 3 * n; p += n) d += (data[p + i]! - clean[p + i]!) ** 2;
    lists[levelOf(clean, i, n)]!.push(d);
  }
  const told = lists.map((list) => {
      if (list.length < LEAST_PIXELS) return null;
      const kept = Float64Array.from(list)
        .sort()
        .subarray(0, Math.floor(KEPT * list.length));
      return Math.sqrt(Math.max(leastVariance, (WHOLE * kept.reduce((s, v) => s + v, 0)) / kept.length));
    }),
    seen = told.filter((v) => v !== null),
    usual = seen.length === 0 ? UNTOLD : seen.reduce((a, b) => a + b, 0) / seen.length;
  return Float64Array.from(told, (v) => v ?? usual);
}
