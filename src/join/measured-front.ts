/** The measured front of a turning performer (turn-surface.ts) over its picture: the mean of the points about a place, by a Gaussian of their distance (Nadaraya and Watson, 1964). */
import type { StandingDepth } from './front-depth.js';
import type { FrontPoint } from './types.js';

/** Sd over which measured points of the front are averaged, and the step of their grid, in heights. */
const FRONT_ABOUT = 0.045, FRONT_STEP = 0.05;
/** Weight of points at which the measured front counts half. */
const HALF = 0.6;

/**
 * Puts the measured front (turn-surface.ts) in place of the guessed one where points of it lie. The field counts pixels
 * along the line of sight, a front in heights along the ground.
 */
export function putFront(z: Float32Array, w: number, h: number, cell: number, x0: number, y0: number, tall: number, depth: StandingDepth): void {
  if (!depth.bodies.some((b) => b.body?.front !== undefined)) return;
  const columns = Math.max(2, Math.ceil((w * cell) / (FRONT_STEP * tall)) + 1), rows = Math.max(2, Math.ceil((h * cell) / (FRONT_STEP * tall)) + 1);
  const told = new Float32Array(columns * rows), trust = new Float32Array(columns * rows), along = (tall * (depth.farther ?? 1)) / Math.cos(depth.elevation);
  for (const { body, share } of depth.bodies) {
    if (body?.front === undefined) continue;
    for (let j = 0, o = 0; j < rows; j++) for (let i = 0; i < columns; i++, o++) {
      const x = (x0 + (i * w * cell) / (columns - 1) - depth.foot[0]) / tall, u = (depth.foot[1] - y0 - (j * h * cell) / (rows - 1)) / tall, [front, weight] = frontAbout(body.front, x, u);
      told[o] = told[o]! + share * weight * front;
      trust[o] = trust[o]! + share * weight;
    }
  }
  for (let y = 0; y < h; y++) {
    const v = ((y + 0.5) / h) * (rows - 1), j = Math.min(rows - 2, Math.floor(v)), ty = v - j;
    for (let x = 0; x < w; x++) {
      const t = ((x + 0.5) / w) * (columns - 1), i = Math.min(columns - 2, Math.floor(t)), tx = t - i, o = j * columns + i;
      const mix = (a: Float32Array): number => (a[o]! * (1 - tx) + a[o + 1]! * tx) * (1 - ty) + (a[o + columns]! * (1 - tx) + a[o + columns + 1]! * tx) * ty;
      const k = mix(trust);
      if (k > 0) z[y * w + x] = k * ((along * mix(told)) / k) + (1 - k) * z[y * w + x]!;
    }
  }
}

/** Mean front of the points about a place, and how far they tell it, 0 to 1. */
export function frontAbout(points: readonly FrontPoint[], x: number, u: number): readonly [front: number, trust: number] {
  let sum = 0, weight = 0;
  for (const [px, pu, front] of points) {
    const dx = px - x, du = pu - u;
    if (Math.abs(dx) > 3 * FRONT_ABOUT || Math.abs(du) > 3 * FRONT_ABOUT) continue;
    const w = Math.exp(-(dx * dx + du * du) / (2 * FRONT_ABOUT * FRONT_ABOUT));
    sum += w * front;
    weight += w;
  }
  return weight < 1e-6 ? [0, 0] : [sum / weight, weight / (weight + HALF)];
}
