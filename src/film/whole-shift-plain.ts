/**
 * Plain twin of kernels/block-match.ts, first part: the picture's active part, and the shift of the whole picture,
 * found on frames made three times coarser.
 */
import { COARSE_H, COARSE_W, SMALL_H, SMALL_W, type SmallFrame } from './small-frame.js';

/** Values are worked on at 15 bits: 128 a code value. */
export const CODE2 = 128 * 128;
/** A row or column nowhere brighter than this is a bar's. */
const BAR_LEVEL = 5 * 128;
/** With less picture than this (cells) between the bars the whole frame is taken. */
const LEAST_ACTIVE_H = 24;
const LEAST_ACTIVE_W = 40;
/** How far the whole picture may have shifted, coarse cells. */
const GLOBAL_X = 11;
const GLOBAL_Y = 6;

/** Shift of the whole picture, cells. */
export interface Shift {
  readonly gx: number;
  readonly gy: number;
}

/** A part of the picture, cells; `x1` and `y1` exclusive. */
export interface Part {
  readonly x0: number;
  readonly x1: number;
  readonly y0: number;
  readonly y1: number;
}

/** The part of the picture that holds picture in both frames: bars match always and would hide a cut. */
export function activePart(a: SmallFrame, b: SmallFrame): Part {
  const rowDark = (y: number): boolean => {
    let ma = 0;
    let mb = 0;
    for (let x = 0, i = y * SMALL_W; x < SMALL_W; x++, i++) {
      if (a[i]! > ma) ma = a[i]!;
      if (b[i]! > mb) mb = b[i]!;
    }
    return ma < BAR_LEVEL || mb < BAR_LEVEL;
  };
  const columnDark = (x: number): boolean => {
    let ma = 0;
    let mb = 0;
    for (let y = 0, i = x; y < SMALL_H; y++, i += SMALL_W) {
      if (a[i]! > ma) ma = a[i]!;
      if (b[i]! > mb) mb = b[i]!;
    }
    return ma < BAR_LEVEL || mb < BAR_LEVEL;
  };
  let y0 = 0;
  let y1 = SMALL_H;
  let x0 = 0;
  let x1 = SMALL_W;
  while (y0 < SMALL_H && rowDark(y0)) y0++;
  while (y1 > y0 && rowDark(y1 - 1)) y1--;
  while (x0 < SMALL_W && columnDark(x0)) x0++;
  while (x1 > x0 && columnDark(x1 - 1)) x1--;
  // The cell beside a bar is part bar.
  if (y0 > 0) y0++;
  if (y1 < SMALL_H) y1--;
  if (x0 > 0) x0++;
  if (x1 < SMALL_W) x1--;
  const enough = y1 - y0 >= LEAST_ACTIVE_H && x1 - x0 >= LEAST_ACTIVE_W;
  return enough ? { x0, x1, y0, y1 } : { x0: 0, x1: SMALL_W, y0: 0, y1: SMALL_H };
}

/** Means of 3 × 3 cells, rounded. */
export function coarsened(f: SmallFrame, dst: Int32Array): void {
  for (let cy = 0; cy < COARSE_H; cy++) {
    for (let cx = 0; cx < COARSE_W; cx++) {
      let i = cy * 3 * SMALL_W + cx * 3;
      let s = f[i]! + f[i + 1]! + f[i + 2]!;
      i += SMALL_W;
      s += f[i]! + f[i + 1]! + f[i + 2]!;
      i += SMALL_W;
      s += f[i]! + f[i + 1]! + f[i + 2]!;
      dst[cy * COARSE_W + cx] = Math.trunc((2 * s + 9) / 18);
    }
  }
}

/** Whether the mean difference of the coarse frames is under half a code value. */
export function coarseAlike(a: Int32Array, b: Int32Array): boolean {
  let s = 0;
  for (let i = 0; i < COARSE_W * COARSE_H; i++) s += Math.abs(a[i]! - b[i]!);
  return s < COARSE_W * COARSE_H * 64;
}

/** NCC of the coarse frames with b shifted by (dx, dy) over their overlap. */
function coarseNcc(a: Int32Array, b: Int32Array, part: Part, dx: number, dy: number): number {
  const x0 = Math.max(part.x0, part.x0 - dx);
  const x1 = Math.min(part.x1, part.x1 - dx);
  const y0 = Math.max(part.y0, part.y0 - dy);
  const y1 = Math.min(part.y1, part.y1 - dy);
  let sa = 0;
  let sb = 0;
  let saa = 0;
  let sbb = 0;
  let sab = 0;
  for (let y = y0; y < y1; y++) {
    const ra = y * COARSE_W;
    const rb = (y + dy) * COARSE_W + dx;
    for (let x = x0; x < x1; x++) {
      const p = a[ra + x]!;
      const q = b[rb + x]!;
      sa += p;
      sb += q;
      saa += p * p;
      sbb += q * q;
      sab += p * q;
    }
  }
  const n = (x1 - x0) * (y1 - y0);
  const va = saa - (sa * sa) / n;
  const vb = sbb - (sb * sb) / n;
  // A little noise in the denominator keeps two flat overlaps from agreeing by chance.
  const noise = n * CODE2 * 0.25;
  return (sab - (sa * sb) / n) / Math.sqrt((va + noise) * (vb + noise));
}

/** The shift (cells of the small frame) with which the coarse frames agree best over the active part. */
export function wholeShift(a: Int32Array, b: Int32Array, { x0, x1, y0, y1 }: Part): Shift {
  const part = { x0: Math.ceil(x0 / 3), x1: Math.floor(x1 / 3), y0: Math.ceil(y0 / 3), y1: Math.floor(y1 / 3) };
  let best = coarseNcc(a, b, part, 0, 0);
  let gx = 0;
  let gy = 0;
  // So much alike without a shift that no other can be better.
  if (best >= 0.985) return { gx, gy };
  for (let dy = -GLOBAL_Y; dy <= GLOBAL_Y; dy++)
    for (let dx = -GLOBAL_X; dx <= GLOBAL_X; dx++) {
      // Large shifts leave little overlap, where chance agreement is likelier: ask a little more of them.
      const s = coarseNcc(a, b, part, dx, dy) - 0.004 * (Math.abs(dx) + Math.abs(dy));
      if (s > best) {
        best = s;
        gx = dx;
        gy = dy;
      }
    }
  return { gx: 3 * gx, gy: 3 * gy };
}
