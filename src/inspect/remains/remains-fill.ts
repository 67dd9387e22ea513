/** What was laid in for what was erased: whether it is smeared, and whether it boils from frame to frame. */
import { median } from '../../image/statistics.js';
import type { Carrier } from '../../join/ride/carrier.js';
import type { Box } from '../../join/ground/ground.js';
import { boxOf, cellsOf, type Cell } from './remains-cells.js';
import type { RemainsFrame } from './remains-frame.js';
import { between, eachPlace, lightAt, type SetBehind } from './remains-set.js';

/** Fine pattern (ln of light, rms) that a set must have to tell a smeared fill. */
const DETAIL = 0.02;

/**
 * Slope of fine pattern (a cell's pixels less the mean of their four neighbours) on the set's, in the fill and in the
 * untouched picture.
 */
export function detailOf(
  f: RemainsFrame,
  left: Float32Array,
  set: SetBehind,
): { readonly in: number; readonly out: number } | null {
  const { box, light } = set,
    w = f.width,
    bw = box[2] - box[0],
    bh = box[3] - box[1];
  const sums = [
    [0, 0, 0],
    [0, 0, 0],
  ] as [number[], number[]];
  for (let y = 1; y + 1 < bh; y++)
    for (let x = 1; x + 1 < bw; x++) {
      const i = y * bw + x,
        q = (box[1] + y) * w + box[0] + x,
        fine = light[i]! - (light[i - 1]! + light[i + 1]! + light[i - bw]! + light[i + bw]!) / 4;
      if (Number.isNaN(fine)) continue;
      const erased = f.erased[q]! + f.erased[q - 1]! + f.erased[q + 1]! + f.erased[q - w]! + f.erased[q + w]!;
      if (erased !== 0 && erased !== 5) continue;
      const s = sums[erased === 5 ? 0 : 1]!,
        here = left[q]! - (left[q - 1]! + left[q + 1]! + left[q - w]! + left[q + w]!) / 4;
      s[0]! += here * fine;
      s[1]! += fine * fine;
      s[2]!++;
    }
  if (sums[0][2]! < 200 || sums[1][2]! < 200 || sums[0][1]! / sums[0][2]! < DETAIL ** 2 || sums[1][1]! <= 0)
    return null;
  return { in: sums[0][0]! / sums[0][1]!, out: Math.max(0.2, sums[1][0]! / sums[1][1]!) };
}

/**
 * How the fill differs from itself at the next moment looked at, brought there by the set's motion, beside how the
 * untouched picture does.
 */
export function boilOf(
  f: RemainsFrame,
  g: RemainsFrame,
  left: Float32Array,
  then: Float32Array,
  near: Uint8Array,
  box: Box,
  carrier: Carrier,
): number | null {
  const { width: w, height: h } = f,
    bw = box[2] - box[0],
    moved = new Float32Array(bw * (box[3] - box[1])).fill(NaN);
  eachPlace(between(carrier, f, g), box, 1, (x, y, u, v) => {
    const i = Math.floor(u),
      j = Math.floor(v),
      q = y * w + x;
    if (!(i >= 0 && j >= 0 && i < w && j < h) || f.erased[q] !== g.erased[j * w + i]) return;
    moved[(y - box[1]) * bw + x - box[0]] = lightAt(then, w, h, u, v);
  });
  const cells = cellsOf(boxOf(left, box, w), moved, box, w, f.erased, near),
    within = cells.filter((c) => c.erased === 1),
    beside = cells.filter((c) => c.erased === 0);
  if (within.length < 6 || beside.length < 6) return null;
  const level = median(Float64Array.from(beside, (c) => c.mean)),
    size = (l: readonly Cell[]): number => 1.4826 * median(Float64Array.from(l, (c) => Math.abs(c.mean - level)));
  const a = size(within),
    b = size(beside);
  return Math.sqrt(Math.max(0, a * a - b * b));
}
