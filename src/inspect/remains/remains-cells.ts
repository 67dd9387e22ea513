/** Two reduced pictures (ln of light) held against each other in small cells. */
import type { Box } from '../../join/ground/ground.js';

/** Side of a cell and step from cell to cell, reduced px; pixels of it that must be told. */
export const CELL = 8,
  STEP = 4,
  LEAST = 48;

/**
 * `mean`: ln of the one's light over the other's; `sd`: scatter of its pixels; `erased`: share of it that was erased;
 * `near`: it reaches where a shadow of that may lie.
 */
export interface Cell {
  readonly x: number;
  readonly y: number;
  readonly mean: number;
  readonly sd: number;
  readonly erased: number;
  readonly near: boolean;
}

/**
 * How two pictures of a box (ln of light; NaN: not told) differ over its cells: by their mean light, since means of
 * logarithms would take a pattern that an encoder smoothed for brighter ground; and the scatter of their pixels.
 */
export function cellsOf(
  a: Float32Array,
  b: Float32Array,
  box: Box,
  w: number,
  erased: Uint8Array,
  near: Uint8Array,
): Cell[] {
  const bw = box[2] - box[0],
    bh = box[3] - box[1],
    out: Cell[] = [],
    la = a.map(Math.exp),
    lb = b.map(Math.exp);
  for (let y = 0; y + CELL <= bh; y += STEP)
    for (let x = 0; x + CELL <= bw; x += STEP) {
      let sa = 0,
        sb = 0,
        s = 0,
        ss = 0,
        n = 0,
        e = 0,
        q = 0;
      for (let j = 0; j < CELL; j++)
        for (let i = 0; i < CELL; i++) {
          const k = (y + j) * bw + x + i,
            v = a[k]! - b[k]!,
            at = (box[1] + y + j) * w + box[0] + x + i;
          if (Number.isNaN(v)) continue;
          sa += la[k]!;
          sb += lb[k]!;
          s += v;
          ss += v * v;
          n++;
          e += erased[at]!;
          q += near[at]!;
        }
      if (n >= LEAST)
        out.push({
          x: box[0] + x,
          y: box[1] + y,
          mean: Math.log(sa / sb),
          sd: Math.sqrt(Math.max(0, ss / n - (s / n) ** 2)),
          erased: e / n,
          near: q > 0,
        });
    }
  return out;
}

/** A box of a picture. */
export function boxOf(p: Float32Array, box: Box, w: number): Float32Array {
  const bw = box[2] - box[0],
    out = new Float32Array(bw * (box[3] - box[1]));
  for (let y = box[1]; y < box[3]; y++) out.set(p.subarray(y * w + box[0], y * w + box[2]), (y - box[1]) * bw);
  return out;
}
