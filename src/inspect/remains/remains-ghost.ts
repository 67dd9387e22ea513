/** A ghost: what of the erased thing still shows. */
import { median } from '../../image/statistics.js';
import { CELL, LEAST } from './remains-cells.js';
import type { RemainsFrame } from './remains-frame.js';
import type { SetBehind } from './remains-set.js';

/** Share of the set's light by which what was erased must differ to tell its ghost. */
const GHOSTED = 0.2;
/** Cells of which one over the other, in time and place, say the same thing once. */
const ALIKE = 6;

/**
 * What is left of the erased thing, cell by cell: light seen over light filmed, both less the set's. A ghost is a
 * mixture of light; means of cells, since the set's own noise stands in both.
 */
export function ghostCells(f: RemainsFrame, left: Float32Array, set: SetBehind, out: number[]): void {
  const { width: w, height: h } = f;
  for (let y = 0; y + CELL <= h; y += CELL)
    for (let x = 0; x + CELL <= w; x += CELL) {
      let gone = 0,
        still = 0,
        bare = 0,
        n = 0,
        e = 0;
      const { box } = set;
      for (let j = 0; j < CELL; j++)
        for (let i = 0; i < CELL; i++) {
          const q = (y + j) * w + x + i;
          e += f.erased[q]!;
          const v =
            x + i < box[0] || y + j < box[1] || x + i >= box[2] || y + j >= box[3]
              ? NaN
              : set.light[(y + j - box[1]) * (box[2] - box[0]) + x + i - box[0]]!;
          if (Number.isNaN(v)) continue;
          const ground = Math.exp(v);
          gone += Math.exp(f.filmed[q]!) - ground;
          still += Math.exp(left[q]!) - ground;
          bare += ground;
          n++;
        }
      if (e === CELL * CELL && n >= LEAST && Math.abs(gone) > GHOSTED * bare) out.push(still / gone);
    }
}

/** A median's standard error is 1.25 σ / √n, σ from the median deviation (Huber, Robust Statistics, 1981). */
export function sureShare(shares: readonly number[], share: number): { readonly share: number; readonly sure: number } {
  const sigma = 1.4826 * median(Float64Array.from(shares, (v) => Math.abs(v - share)));
  return { share, sure: Math.max(0, share - (2 * 1.2533 * sigma) / Math.sqrt(shares.length / ALIKE)) };
}
