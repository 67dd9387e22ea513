/** A stain that an erase left: ground darker or brighter than other frames of the plate show the same place. */
import { median } from '../../image/statistics.js';
import type { Box } from '../../join/ground/ground.js';
import { boxOf, CELL, cellsOf, STEP, type Cell } from './remains-cells.js';
import type { RemainsFrame } from './remains-frame.js';
import type { SetBehind } from './remains-set.js';

/** Fine pattern (ln of light, rms) that a set must have to tell what lies before it. */
const PATTERN = 0.012;
/** Frames on which a stain must show, in parts of those that tell: what stands in depth makes one on some of them. */
const SHOWN = 0.4;

const spreadOf = (v: readonly number[]): number => v.toSorted((a, b) => a - b)[Math.floor(0.95 * v.length)] ?? 0;

/** The darkening or brightening that a share of the frames reaches. */
export function lasting(stains: readonly number[]): number | null {
  if (stains.length < 4) return null;
  const k = Math.ceil(SHOWN * stains.length),
    dark = Math.min(0, stains.toSorted((a, b) => a - b)[k]!),
    bright = Math.max(0, stains.toSorted((a, b) => b - a)[k]!);
  return -dark > bright ? dark : bright;
}

/**
 * The strongest stain of one frame, ln of light that a place of three cells differs by from the set (0 where none
 * does), and where; null where too little tells.
 */
export function stainOf(
  f: RemainsFrame,
  left: Float32Array,
  set: SetBehind,
  near: Uint8Array,
  bounds: Box,
): { readonly stain: number; readonly at: Box | null } | null {
  const { box, light } = set,
    w = f.width,
    cells = cellsOf(boxOf(left, box, w), light, box, w, f.erased, near),
    beside = cells.filter((c) => !c.near),
    about = cells.filter((c) => c.near);
  if (about.length < 3) return null;
  const few = beside.length < 20,
    level = few ? 0 : median(Float64Array.from(beside, (c) => c.mean)),
    usual = few ? 0.02 : spreadOf(beside.map((c) => Math.abs(c.mean - level))),
    grain = median(Float64Array.from(few ? about : beside, (c) => c.sd));
  const odd = cells.filter((c) => Math.abs(c.mean - level) > 0.02 + 1.5 * usual);
  const counted = pieces(odd)
    .filter((p) => liesBeside(p, bounds) && showsGround(p, beside, left, set, w))
    .flat()
    .filter(
      (c) =>
        c.erased > 0.5 || (c.near && Math.sqrt(Math.max(0, c.sd ** 2 - grain ** 2)) < 0.5 * Math.abs(c.mean - level)),
    );
  let stain = 0,
    at: Box | null = null;
  for (const sign of [-1, 1]) {
    const l = counted.filter((c) => (c.mean - level) * sign > 0).sort((a, b) => Math.abs(b.mean) - Math.abs(a.mean));
    if (l.length >= 3 && Math.abs(l[2]!.mean - level) > Math.abs(stain)) {
      stain = l[2]!.mean - level;
      const c = l[0]!,
        s = f.scale;
      at = [c.x * s, c.y * s, (c.x + CELL) * s, (c.y + CELL) * s];
    }
  }
  return { stain, at };
}

/** Cells that hang together. */
function pieces(cells: readonly Cell[]): Cell[][] {
  const open = new Map(cells.map((c) => [c.y * 8192 + c.x, c])),
    out: Cell[][] = [];
  for (const first of cells) {
    if (!open.delete(first.y * 8192 + first.x)) continue;
    const piece = [first];
    for (let k = 0; k < piece.length; k++)
      for (const dy of [-STEP, 0, STEP])
        for (const dx of [-STEP, 0, STEP]) {
          const key = (piece[k]!.y + dy) * 8192 + piece[k]!.x + dx,
            next = open.get(key);
          if (next !== undefined) {
            open.delete(key);
            piece.push(next);
          }
        }
    out.push(piece);
  }
  return out;
}

/**
 * Of what lies beyond the fill nothing is above the middle of what was erased: a shadow lies on the ground at its foot,
 * and what passes in front, or stands in depth, reaches up.
 */
function liesBeside(piece: readonly Cell[], [x0, y0, x1, y1]: Box): boolean {
  return (
    piece.every((c) => c.erased > 0.5 || c.y + CELL > (y0 + y1) / 2) &&
    piece.some((c) => c.x + CELL + STEP >= x0 && c.x <= x1 + STEP && c.y + CELL + STEP >= y0 && c.y <= y1 + STEP)
  );
}

/**
 * In shade the ground keeps its own pattern; a thing in front of it has none of it. Where the ground has no pattern to
 * speak of the two are not told apart, and it is not blamed.
 */
function showsGround(
  piece: readonly Cell[],
  beside: readonly Cell[],
  left: Float32Array,
  set: SetBehind,
  w: number,
): boolean {
  const lying = piece.filter((c) => c.erased <= 0.5);
  if (lying.length === 0) return true;
  const there = patternSlope(beside, left, set, w),
    here = patternSlope(lying, left, set, w);
  return there !== null && here !== null && there > 0.3 && here > 0.4 * there;
}

function patternSlope(cells: readonly Cell[], left: Float32Array, { box, light }: SetBehind, w: number): number | null {
  const bw = box[2] - box[0];
  let sum = 0,
    square = 0,
    n = 0;
  for (const c of cells)
    for (let y = c.y + 1; y < c.y + CELL - 1; y++)
      for (let x = c.x + 1; x < c.x + CELL - 1; x++) {
        const i = (y - box[1]) * bw + x - box[0],
          q = y * w + x,
          fine = light[i]! - (light[i - 1]! + light[i + 1]! + light[i - bw]! + light[i + bw]!) / 4;
        if (Number.isNaN(fine)) continue;
        sum += fine * (left[q]! - (left[q - 1]! + left[q + 1]! + left[q - w]! + left[q + w]!) / 4);
        square += fine * fine;
        n++;
      }
  return n < 60 || square / n < PATTERN ** 2 ? null : sum / square;
}
