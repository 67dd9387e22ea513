/**
 * What the patches chosen for a hole say of its pixels: their weighted mean (Wexler, Shechtman & Irani, 2007, section
 * 3), or at the end a picture that has their differences (patch-meld.ts). See patch-synthesis.ts.
 */
import { RADIUS, type Level } from './patch-level.js';
import { meld } from './patch-meld.js';

/** Which patch stands for which. */
export interface ChosenPatches {
  /** Middles of patches that touch the hole, in raster order. */
  readonly targets: Int32Array;
  /** By pixel: middle of the patch copied there, −1 elsewhere; its cost; trust in the pixel, 0..1. */
  readonly at: Int32Array;
  readonly cost: Float32Array;
  readonly trust: Float32Array;
}

/** How much what a patch says counts, by its cost. @param sharp the best patches nearly alone */
function sayOf({ targets, cost, trust }: ChosenPatches, sharp: boolean): (t: number) => number {
  const costs = Float32Array.from(targets, (t) => cost[t]!).sort();
  const at = costs[Math.floor(costs.length * (sharp ? 0.2 : 0.75))] ?? 0,
    k = 1 / (2 * Math.max(1e-4, at));
  return (t) => Math.max(0.02, trust[t]!) * Math.exp(-cost[t]! * k) + 1e-9;
}

/**
 * Each hole pixel becomes the weighted mean of what the patches over it say; `sharp`: the best patches nearly alone.
 */
export function votePatches(level: Level, chosen: ChosenPatches, sharp: boolean): void {
  const { w, h, rgb, rough, hole } = level,
    say = sayOf(chosen, sharp);
  const steps = new Float32Array(2 * w * h),
    sum = new Float32Array(3 * w * h),
    weight = new Float32Array(w * h);
  for (const t of chosen.targets) {
    const s = chosen.at[t]!,
      tx = t % w,
      ty = (t - tx) / w,
      p = say(t);
    const y0 = Math.max(-RADIUS, -ty),
      y1 = Math.min(RADIUS, h - 1 - ty),
      x0 = Math.max(-RADIUS, -tx),
      x1 = Math.min(RADIUS, w - 1 - tx);
    for (let dy = y0; dy <= y1; dy++) {
      let i = t + dy * w + x0,
        j = s + dy * w + x0,
        b = 3 * j;
      for (let dx = x0; dx <= x1; dx++, i++, j++, b += 3) {
        if (hole[i] === 0) continue;
        weight[i] = weight[i]! + p;
        sum[3 * i] = sum[3 * i]! + p * rgb[b]!;
        sum[3 * i + 1] = sum[3 * i + 1]! + p * rgb[b + 1]!;
        sum[3 * i + 2] = sum[3 * i + 2]! + p * rgb[b + 2]!;
        steps[2 * i] = steps[2 * i]! + p * rough[2 * j]!;
        steps[2 * i + 1] = steps[2 * i + 1]! + p * rough[2 * j + 1]!;
      }
    }
  }
  for (let i = 0; i < w * h; i++) {
    if (hole[i] === 0 || weight[i]! <= 0) continue;
    for (let c = 0; c < 3; c++) rgb[3 * i + c] = sum[3 * i + c]! / weight[i]!;
    for (let c = 0; c < 2; c++) rough[2 * i + c] = steps[2 * i + c]! / weight[i]!;
  }
}

/** Joins what was voted by the patches' differences (patch-meld.ts). */
export function meldPatches(level: Level, chosen: ChosenPatches): void {
  const { w, h, rgb, hole, valued } = level,
    n = w * h,
    say = sayOf(chosen, true);
  const steps = {
    right: new Float32Array(3 * n),
    down: new Float32Array(3 * n),
    rightWeight: new Float32Array(n),
    downWeight: new Float32Array(n),
  };
  for (const t of chosen.targets) {
    const s = chosen.at[t]!,
      tx = t % w,
      ty = (t - tx) / w,
      p = say(t);
    const y0 = Math.max(-RADIUS, -ty),
      y1 = Math.min(RADIUS, h - 1 - ty),
      x0 = Math.max(-RADIUS, -tx),
      x1 = Math.min(RADIUS, w - 1 - tx);
    for (let dy = y0; dy <= y1; dy++)
      for (let dx = x0; dx <= x1; dx++) {
        const i = t + dy * w + dx,
          b = 3 * (s + dy * w + dx);
        if (dx < x1 && (hole[i] !== 0 || hole[i + 1] !== 0)) {
          steps.rightWeight[i] = steps.rightWeight[i]! + p;
          for (let c = 0; c < 3; c++)
            steps.right[3 * i + c] = steps.right[3 * i + c]! + p * (rgb[b + 3 + c]! - rgb[b + c]!);
        }
        if (dy < y1 && (hole[i] !== 0 || hole[i + w] !== 0)) {
          steps.downWeight[i] = steps.downWeight[i]! + p;
          for (let c = 0; c < 3; c++)
            steps.down[3 * i + c] = steps.down[3 * i + c]! + p * (rgb[b + 3 * w + c]! - rgb[b + c]!);
        }
      }
  }
  for (let i = 0; i < n; i++)
    for (let c = 0; c < 3; c++) {
      if (steps.rightWeight[i]! > 0) steps.right[3 * i + c] = steps.right[3 * i + c]! / steps.rightWeight[i]!;
      if (steps.downWeight[i]! > 0) steps.down[3 * i + c] = steps.down[3 * i + c]! / steps.downWeight[i]!;
    }
  meld(rgb, hole, valued, steps, w, h, level.besideLines);
}
