/**
 * A frame's small picture averaged with those of the frames before and after it, where they show the same within noise
 * and coding. Who stands in a set is told by thresholds and cuts, and noise that tips one of them on every other frame
 * opens a hole that flashes, or takes a strip of shadow in and lets it go. What moves, is uncovered or stirs differs by
 * more and is left as this frame has it, so nothing smears. (Motion-adaptive temporal filtering, as in T. Dennis,
 * "Nonlinear temporal filter for television picture noise reduction", IEE Proc. G 127(2), 1980, from memory; the weight
 * is Tukey's.)
 */
import { boxMean } from '../../image/box.js';
import type { SmallLinear } from './small-linear.js';

/**
 * Difference of square roots of light, over three channels and means of 3 × 3 pixels, from which two frames show other
 * things: noise and coding of any file (`empty-set.ts`).
 */
const ALIKE = 0.02;

/** How much each of the other frames counts at each small pixel, 0..1; 0 where it shows something else. */
export function samePlaces(own: SmallLinear, others: readonly SmallLinear[]): readonly Float32Array[] {
  const { width: w, height: h } = own,
    roots = rootsOf(own.data);
  return others.map((other) => {
    const same = squaresApart(roots, rootsOf(other.data), w, h);
    for (let i = 0; i < same.length; i += 1) same[i] = Math.max(0, 1 - same[i]! / (ALIKE * ALIKE)) ** 2;
    return same;
  });
}

/**
 * @param own small picture of a frame @param others those of frames near by, of its size @param same of `samePlaces`
 * @returns a new picture, scene-linear as they are
 */
export function pooledStill(
  own: SmallLinear,
  others: readonly SmallLinear[],
  same: readonly Float32Array[],
): SmallLinear {
  const n = own.width * own.height,
    sum = own.data.slice(),
    weight = new Float32Array(n).fill(1);
  others.forEach(({ data }, o) => {
    const counts = same[o]!;
    for (let i = 0; i < n; i += 1) {
      const k = counts[i]!;
      if (k === 0) continue;
      weight[i] = weight[i]! + k;
      for (let at = i; at < 3 * n; at += n) sum[at] = sum[at]! + k * data[at]!;
    }
  });
  for (let p = 0; p < 3 * n; p += n) for (let i = 0; i < n; i += 1) sum[p + i] = sum[p + i]! / weight[i]!;
  return { ...own, data: sum };
}

/** 1 where most frames say so, of those that show the same there. @param own what this frame says, 0 or 1 @param others of others */
export function mostSay(own: Uint8Array, others: readonly Uint8Array[], same: readonly Float32Array[]): Uint8Array {
  return own.map((v, i) => {
    let votes = v === 1 ? 1 : -1;
    for (let o = 0; o < others.length; o += 1) votes += (others[o]![i] === 1 ? 1 : -1) * same[o]![i]!;
    return votes > 0 ? 1 : 0;
  });
}

/** Squared distance of the means of 3 × 3 pixels. */
function squaresApart(a: Float32Array, b: Float32Array, w: number, h: number): Float32Array {
  const n = w * h,
    one = new Float32Array(n),
    out = new Float32Array(n);
  for (let p = 0; p < 3 * n; p += n) {
    for (let i = 0; i < n; i += 1) one[i] = a[p + i]! - b[p + i]!;
    const mean = boxMean(one, w, h, 1);
    for (let i = 0; i < n; i += 1) out[i] = out[i]! + mean[i]! * mean[i]!;
  }
  return out;
}

function rootsOf(data: Float32Array): Float32Array {
  const out = new Float32Array(data.length);
  for (let i = 0; i < out.length; i += 1) out[i] = Math.sqrt(Math.max(0, data[i]!));
  return out;
}
