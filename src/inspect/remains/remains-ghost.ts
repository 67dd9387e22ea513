/**
 * A ghost: what of the erased thing still shows. It goes with what was erased, from cell to cell: dark where that was
 * darkest. A fill that was taken at another exposure is off by the same share everywhere, and is told apart by that.
 */
import { median } from '../../image/statistics.js';
import { CELL, LEAST } from './remains-cells.js';
import type { RemainsFrame } from './remains-frame.js';
import type { SetBehind } from './remains-set.js';

/** Share of the set's light by which what was erased must differ to tell its ghost. */
const GHOSTED = 0.2;
/** Cells of which one over the other, in time and place, say the same thing once. */
const ALIKE = 6;

/** Light filmed and light seen less the set's, in parts of the set's. */
export interface GhostCell {
  readonly gone: number;
  readonly still: number;
}

/** Cells of all frames: within the fill, and light seen less the set's in those that touch it from outside. */
export interface GhostCells {
  readonly fill: GhostCell[];
  readonly beside: number[];
}

/**
 * What is left of the erased thing, cell by cell: light seen over light filmed, both less the set's. A ghost is a
 * mixture of light; means of cells, since the set's own noise stands in both.
 */
export function ghostCells(f: RemainsFrame, left: Float32Array, set: SetBehind, out: GhostCells): void {
  for (let y = 0; y + CELL <= f.height; y += CELL)
    for (let x = 0; x + CELL <= f.width; x += CELL) {
      const cell = cellAt(f, left, set, x, y);
      if (cell === null) continue;
      const { gone, still, erased } = cell;
      if (erased === CELL * CELL) {
        if (Math.abs(gone) > GHOSTED) out.fill.push({ gone, still });
      } else if (erased === 0 && touchesFill(f, x, y)) out.beside.push(still);
    }
}

/** Null where the set is hardly told. `erased`: pixels of it. */
function cellAt(
  { width: w, erased, filmed }: RemainsFrame,
  left: Float32Array,
  { box, light }: SetBehind,
  x: number,
  y: number,
): (GhostCell & { readonly erased: number }) | null {
  const [x0, y0, x1, y1] = box;
  let gone = 0,
    still = 0,
    bare = 0,
    n = 0,
    e = 0;
  for (let v = y; v < y + CELL; v++)
    for (let u = x; u < x + CELL; u++) {
      const q = v * w + u,
        there = u < x0 || v < y0 || u >= x1 || v >= y1 ? NaN : light[(v - y0) * (x1 - x0) + u - x0]!;
      e += erased[q]!;
      if (Number.isNaN(there)) continue;
      const ground = Math.exp(there);
      gone += Math.exp(filmed[q]!) - ground;
      still += Math.exp(left[q]!) - ground;
      bare += ground;
      n++;
    }
  return n < LEAST ? null : { gone: gone / bare, still: still / bare, erased: e };
}

/** Whether something was erased within a cell's side of a cell. */
function touchesFill({ width: w, height: h, erased }: RemainsFrame, x: number, y: number): boolean {
  for (const dy of [-CELL / 2, CELL / 2, 1.5 * CELL])
    for (const dx of [-CELL / 2, CELL / 2, 1.5 * CELL]) {
      const u = x + dx,
        v = y + dy;
      if (u >= 0 && v >= 0 && u < w && v < h && erased[v * w + u] === 1) return true;
    }
  return false;
}

/** What the cells of all frames tell. */
export interface Ghost {
  /** Share of what was erased that still shows, and as much of it as is sure (two standard errors less). */
  readonly share: number;
  readonly sure: number;
  /**
   * Light of the whole fill over the set's, less the same of what touches it; null where what was erased is too even to
   * tell that from a ghost, or too little touches it.
   */
  readonly fill: number | null;
}

/** Least difference, in parts of the set's light, between the thirds that what was erased covers least and most. */
const UNEVEN = 0.15;
/** Fewest cells that must touch the fill. */
const TOUCHING = 30;

/**
 * Light seen over light erased, by the line through the medians of the outer thirds (Tukey, Exploratory Data Analysis,
 * 1977, chapter 5): its slope is the ghost, its height the whole fill's. Where all that was erased is alike, the median
 * of their ratio. A median's standard error is 1.25 σ / √n, σ from the median deviation (Huber, Robust Statistics, 1981).
 */
export function ghostOf({ fill: cells, beside }: GhostCells): Ghost {
  const sorted = [...cells].sort((a, b) => a.gone - b.gone),
    third = Math.floor(sorted.length / 3),
    middle = (list: readonly GhostCell[], of: (c: GhostCell) => number): number => median(Float64Array.from(list, of)),
    dark = sorted.slice(0, third),
    bright = sorted.slice(sorted.length - third),
    apart = middle(bright, (c) => c.gone) - middle(dark, (c) => c.gone);
  if (apart < UNEVEN) {
    const ratio = (c: GhostCell): number => c.still / c.gone,
      share = middle(sorted, ratio),
      sigma = 1.4826 * middle(sorted, (c) => Math.abs(ratio(c) - share));
    return { share, sure: sureOf(share, errorOfMedian(sigma, sorted.length)), fill: null };
  }
  const share = (middle(bright, (c) => c.still) - middle(dark, (c) => c.still)) / apart,
    height = middle(sorted, (c) => c.still - share * c.gone),
    sigma = 1.4826 * middle(sorted, (c) => Math.abs(c.still - share * c.gone - height)),
    fill = beside.length < TOUCHING ? null : height - median(Float64Array.from(beside));
  return { share, sure: sureOf(share, (Math.SQRT2 * errorOfMedian(sigma, third)) / apart), fill };
}

function errorOfMedian(sigma: number, n: number): number {
  return (1.2533 * sigma) / Math.sqrt(n / ALIKE);
}

function sureOf(share: number, error: number): number {
  return Math.max(0, share - 2 * error);
}
