/**
 * The measured front of a turning performer (turn-surface.ts) over its picture: the mean of the points about a place,
 * by a Gaussian of their distance (Nadaraya and Watson, 1964), worked out once on a grid and read between its nodes.
 */
import type { DepthField, StandingDepth } from './front-depth.js';
import type { FrontPoint } from '../ground/types.js';

/** Sd over which measured points are averaged, and the step of their grid, in heights. */
const ABOUT = 0.045,
  STEP = 0.03;
/** Weight of points at which the measured front counts half. */
const HALF = 0.6;
/** The grid's step where it is laid over a field, in heights. */
const FIELD_STEP = 0.05;

/** Sums of weights and of weighted fronts on nodes `STEP` apart, the first at x0, u0. */
export interface FrontGrid {
  readonly x0: number;
  readonly u0: number;
  readonly width: number;
  readonly height: number;
  readonly sums: Float32Array;
  readonly weights: Float32Array;
}

/** Grids that were made, by the points that a recipe holds: every frame asks for the same few. */
const made = new WeakMap<readonly FrontPoint[], FrontGrid>();

/** The grid of a front's points; null of none. */
export function frontGrid(points: readonly FrontPoint[]): FrontGrid | null {
  if (points.length === 0) return null;
  const there = made.get(points) ?? gridOf(points);
  made.set(points, there);
  return there;
}

function gridOf(points: readonly FrontPoint[]): FrontGrid {
  const reach = Math.ceil((3 * ABOUT) / STEP);
  let xa = Infinity,
    xb = -Infinity,
    ua = Infinity,
    ub = -Infinity;
  for (const [x, u] of points) {
    xa = Math.min(xa, x);
    xb = Math.max(xb, x);
    ua = Math.min(ua, u);
    ub = Math.max(ub, u);
  }
  const x0 = xa - (reach + 1) * STEP,
    u0 = ua - (reach + 1) * STEP,
    width = Math.ceil((xb - xa) / STEP) + 2 * reach + 3,
    height = Math.ceil((ub - ua) / STEP) + 2 * reach + 3;
  const sums = new Float32Array(width * height),
    weights = new Float32Array(width * height),
    along = new Float64Array(2 * reach + 1);
  for (const [x, u, front] of points) {
    const i0 = Math.round((x - x0) / STEP),
      j0 = Math.round((u - u0) / STEP);
    for (let i = -reach; i <= reach; i++)
      along[i + reach] = Math.exp(-(((i0 + i) * STEP + x0 - x) ** 2) / (2 * ABOUT * ABOUT));
    for (let j = -reach; j <= reach; j++) {
      const across = Math.exp(-(((j0 + j) * STEP + u0 - u) ** 2) / (2 * ABOUT * ABOUT)),
        row = (j0 + j) * width + i0;
      for (let i = -reach; i <= reach; i++) {
        const w = across * along[i + reach]!;
        sums[row + i] = sums[row + i]! + w * front;
        weights[row + i] = weights[row + i]! + w;
      }
    }
  }
  return { x0, u0, width, height, sums, weights };
}

/** Mean front about a place, and how far the points tell it, 0 to 1. */
export function frontAbout(grid: FrontGrid, x: number, u: number): readonly [front: number, trust: number] {
  const p = (x - grid.x0) / STEP,
    q = (u - grid.u0) / STEP,
    i = Math.floor(p),
    j = Math.floor(q);
  if (!(i >= 0 && j >= 0 && i < grid.width - 1 && j < grid.height - 1)) return [0, 0];
  const s = p - i,
    t = q - j,
    o = j * grid.width + i,
    { sums, weights, width } = grid;
  const a = (1 - s) * (1 - t),
    b = s * (1 - t),
    c = (1 - s) * t,
    d = s * t;
  const weight = a * weights[o]! + b * weights[o + 1]! + c * weights[o + width]! + d * weights[o + width + 1]!;
  return weight < 1e-6
    ? [0, 0]
    : [
        (a * sums[o]! + b * sums[o + 1]! + c * sums[o + width]! + d * sums[o + width + 1]!) / weight,
        weight / (weight + HALF),
      ];
}

/**
 * Puts the measured front in place of the guessed one where points of it lie. The field counts pixels along the line of
 * sight, a front in heights along the ground.
 */
export function putFront({ z, w, h, cell, x0, y0, tall }: DepthField, depth: StandingDepth): void {
  const fronts = depth.bodies.flatMap(({ body, share }) => {
    const grid = body?.front === undefined ? null : frontGrid(body.front);
    return grid === null ? [] : [{ grid, share }];
  });
  if (fronts.length === 0) return;
  const columns = Math.max(2, Math.ceil((w * cell) / (FIELD_STEP * tall)) + 1),
    rows = Math.max(2, Math.ceil((h * cell) / (FIELD_STEP * tall)) + 1);
  const told = new Float32Array(columns * rows),
    trust = new Float32Array(columns * rows),
    along = (tall * (depth.farther ?? 1)) / Math.cos(depth.elevation);
  for (const { grid, share } of fronts) {
    for (let j = 0, o = 0; j < rows; j++)
      for (let i = 0; i < columns; i++, o++) {
        const x = (x0 + (i * w * cell) / (columns - 1) - depth.foot[0]) / tall,
          u = (depth.foot[1] - y0 - (j * h * cell) / (rows - 1)) / tall,
          [front, weight] = frontAbout(grid, x, u);
        told[o] = told[o]! + share * weight * front;
        trust[o] = trust[o]! + share * weight;
      }
  }
  for (let y = 0; y < h; y++) {
    const v = ((y + 0.5) / h) * (rows - 1),
      j = Math.min(rows - 2, Math.floor(v)),
      ty = v - j;
    for (let x = 0; x < w; x++) {
      const t = ((x + 0.5) / w) * (columns - 1),
        i = Math.min(columns - 2, Math.floor(t)),
        tx = t - i,
        o = j * columns + i,
        p = o + columns;
      const a = (1 - tx) * (1 - ty),
        b = tx * (1 - ty),
        c = (1 - tx) * ty,
        d = tx * ty,
        k = a * trust[o]! + b * trust[o + 1]! + c * trust[p]! + d * trust[p + 1]!;
      z[y * w + x] =
        along * (a * told[o]! + b * told[o + 1]! + c * told[p]! + d * told[p + 1]!) + (1 - k) * z[y * w + x]!;
    }
  }
}
