/**
 * How far in front of its foot the performer stands over its picture, where the take told (body-depth.ts,
 * shadow-carve.ts, turn-depth.ts): the mean of the parts about each place, by a Gaussian of their distance and by their
 * size (E. A. Nadaraya, Theory of Probability and its Applications 9, 1964; G. S. Watson, Sankhyā A 26, 1964), on a
 * coarse grid.
 */
import { nearer } from './solid-body.js';
import type { BodyDepth } from '../ground/types.js';

/** Sd over which parts are averaged, and the grid's step, in heights: parts are some twentieths of a height apart. */
const ABOUT = 0.08,
  STEP = 0.08;

/**
 * Bodies with their shares (one, or two between which a turn lies), the foot and the height in the picture's pixels.
 */
export interface StandingDepth {
  /** How far the take's camera looks down, radians. */
  readonly elevation: number;
  /** How much farther the foot is than the body's middle, from where the field's pixels count. 1 where absent. */
  readonly farther?: number;
  readonly bodies: readonly { readonly body: BodyDepth | undefined; readonly share: number }[];
  readonly foot: readonly [number, number];
}

/** Depth over a picture, in pixels along the line of sight: w × h cells. */
export interface DepthField {
  readonly z: Float32Array;
  readonly w: number;
  readonly h: number;
  /** Pixels a cell. */
  readonly cell: number;
  /** The field's corner, px. */
  readonly x0: number;
  readonly y0: number;
  /** Pixels to the body's height. */
  readonly tall: number;
}

/** Adds the depth to a field, in place. */
export function addDepth({ z, w, h, cell, x0, y0, tall }: DepthField, depth: StandingDepth): void {
  const columns = Math.max(2, Math.ceil((w * cell) / (STEP * tall)) + 1),
    rows = Math.max(2, Math.ceil((h * cell) / (STEP * tall)) + 1);
  const grid = new Float32Array(columns * rows);
  const across = Float64Array.from(
    { length: columns },
    (_, i) => (x0 + (i * w * cell) / (columns - 1) - depth.foot[0]) / tall,
  );
  const up = Float64Array.from({ length: rows }, (_, j) => (depth.foot[1] - y0 - (j * h * cell) / (rows - 1)) / tall);
  for (const { body, share } of depth.bodies) if (body !== undefined) addBody(grid, across, up, body, share);
  for (let y = 0; y < h; y++) {
    const v = ((y + 0.5) / h) * (rows - 1),
      j = Math.min(rows - 2, Math.floor(v)),
      ty = v - j;
    for (let x = 0; x < w; x++) {
      const t = ((x + 0.5) / w) * (columns - 1),
        i = Math.min(columns - 2, Math.floor(t)),
        tx = t - i,
        o = j * columns + i;
      z[y * w + x] =
        z[y * w + x]! +
        tall *
          ((grid[o]! * (1 - tx) + grid[o + 1]! * tx) * (1 - ty) +
            (grid[o + columns]! * (1 - tx) + grid[o + columns + 1]! * tx) * ty);
    }
  }
}

/** Adds a body's depth (heights, positive towards the camera) at the places x heights right of and u above the foot. */
function addBody(grid: Float32Array, across: Float64Array, up: Float64Array, body: BodyDepth, share: number): void {
  const columns = across.length,
    rows = up.length;
  if (body.parts === undefined || body.parts.length === 0) {
    for (let j = 0, o = 0; j < rows; j++) {
      const d = share * nearer(body, Math.max(0, Math.min(1, up[j]!)));
      for (let i = 0; i < columns; i++, o++) grid[o] = grid[o]! + d;
    }
    return;
  }
  // The Gaussian of a distance is the product of those along x and along u: a few powers a part in place of one a
  // place.
  const sum = new Float64Array(columns * rows),
    weight = new Float64Array(columns * rows).fill(1e-9),
    along = new Float64Array(columns),
    k = -1 / (2 * ABOUT * ABOUT);
  for (const p of body.parts) {
    let near = p.at[0]!;
    for (const a of p.at) near = Math.max(near, a);
    for (let i = 0; i < columns; i++) along[i] = Math.exp(k * (across[i]! - p.x) ** 2);
    for (let j = 0, o = 0; j < rows; j++) {
      const down = p.r * Math.exp(k * (up[j]! - p.u) ** 2);
      for (let i = 0; i < columns; i++, o++) {
        const v = down * along[i]!;
        weight[o] = weight[o]! + v;
        sum[o] = sum[o]! + v * near;
      }
    }
  }
  for (let o = 0; o < grid.length; o++) grid[o] = grid[o]! + share * (sum[o]! / weight[o]!);
}
