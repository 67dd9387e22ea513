/**
 * Strengths of an ambient and of one or two directional lights of given directions on a surface of known normals:
 *     I = a + b · (n · up) + k1 · max(0, n · l1) + k2 · max(0, n · l2)
 * in linear luminance, where what is brightest counts most: a key must reach it, whatever the shade around it
 * does. The companion of light-fit-keys.ts, which sees through a coat's patches but is led by a hat's wide
 * shadow. Geman-McClure loss, narrowed step by step (A. Blake & A. Zisserman, *Visual Reconstruction*, 1987); a
 * sample that sees no key (cast shadow) pays a toll.
 */
import { lossOf, shadowLoss, weightOf } from './head-loss.js';
import type { Direction } from './light-fit-keys.js';

export interface ShadedSamples {
  readonly count: number;
  /** Normals in the world: x right, y up, z away. */
  readonly nx: Float64Array;
  readonly ny: Float64Array;
  readonly nz: Float64Array;
  /** Linear luminance. */
  readonly y: Float64Array;
  /** Its noise (sd), and what is left over of a usual sample. */
  readonly noise: number;
  readonly scale: number;
  /** Bright level of the whole, to start from. */
  readonly top: number;
}

/** [a, b, k1, k2]. */
export type LevelStrengths = readonly [number, number, number, number];

/** Cost over all samples, and the strengths. */
export interface LevelsFit {
  readonly cost: number;
  readonly w: LevelStrengths;
}

/** How much wider the loss is in the first rounds of a fit from nothing. */
const GRADUAL = [4, 2.5, 1.6, 1.2];
/**
 * The brightest of a head are this share of its samples; they are reached where no more
 * than so many scales are left over.
 */
const BRIGHTEST = 0.1;
const REACHED = 2;
/** The ambient's usual fall-off downwards and its weight, as in light-fit-keys.ts. */
export const SKY_SLOPE = 0.3,
  SKY_WEIGHT = 0.1;

/** Room for the normal equations: lower triangle of 4 × 4, right side, one sample's row. */
interface Equations {
  readonly A: Float64Array;
  readonly g: Float64Array;
  readonly x: Float64Array;
}

/** Fits the strengths for the directions l1 and l2 (null: one light), from w where given. */
export function fitLevels(
  s: ShadedSamples,
  l1: Direction,
  l2: Direction | null,
  rounds: number,
  from: ArrayLike<number> | null,
): LevelsFit {
  const { top } = s;
  const w = Float64Array.from(from ?? [0.15 * top, 0.03 * top, 0.7 * top, l2 === null ? 0 : 0.2 * top]);
  const room: Equations = { A: new Float64Array(16), g: new Float64Array(4), x: new Float64Array(4) };
  const { A } = room;
  const ridge = (SKY_WEIGHT * s.count) / (s.scale * s.scale);
  let cost = Infinity;
  for (let round = 0; round < rounds; round++) {
    cost = gather(room, s, l1, l2, w, (s.scale * (from === null ? (GRADUAL[round] ?? 1) : 1)) ** 2);
    const miss = w[1]! - SKY_SLOPE * w[0]!;
    cost += Math.min(SKY_WEIGHT * s.count, ridge * miss * miss);
    if (round === rounds - 1) break;
    A[0] = A[0]! + SKY_SLOPE ** 2 * ridge;
    A[4] = A[4]! - SKY_SLOPE * ridge;
    A[5] = A[5]! + ridge;
    solveBounded(A, room.g, w, l2 === null ? 3 : 4);
  }
  return { cost, w: w as unknown as LevelStrengths };
}

/** Sums up the weighted normal equations of all samples about w, and returns their cost. */
function gather(
  { A, g, x }: Equations,
  s: ShadedSamples,
  l1: Direction,
  l2: Direction | null,
  w: Float64Array,
  variance: number,
): number {
  A.fill(0);
  g.fill(0);
  let cost = 0;
  for (let i = 0; i < s.count; i++) {
    const nx = s.nx[i]!;
    const ny = s.ny[i]!;
    const nz = s.nz[i]!;
    const y = s.y[i]!;
    const d1 = nx * l1[0] + ny * l1[1] + nz * l1[2];
    const d2 = l2 === null ? 0 : nx * l2[0] + ny * l2[1] + nz * l2[2];
    x[0] = 1;
    x[1] = ny;
    x[2] = d1 > 0 ? d1 : 0;
    x[3] = d2 > 0 ? d2 : 0;
    const base = w[0]! + w[1]! * ny + w[3]! * x[3]!;
    const inLight = y - base - w[2]! * x[2]!;
    const inShade = y - base;
    const lightCost = lossOf(inLight, variance);
    const shadeCost = shadowLoss(d1, inShade, variance);
    const shaded = shadeCost < lightCost;
    if (shaded) x[2] = 0;
    cost += shaded ? shadeCost : lightCost;
    const weight = weightOf(shaded ? inShade : inLight, variance) / variance;
    for (let a = 0; a < 4; a++) {
      const xa = weight * x[a]!;
      g[a] = g[a]! + xa * y;
      for (let b = 0; b <= a; b++) A[4 * a + b] = A[4 * a + b]! + xa * x[b]!;
    }
  }
  return cost;
}

/** Share of the variance that the lights explain, 0..1: outliers, cast shadow and noise aside. */
export function explainedByLevels(s: ShadedSamples, l1: Direction, l2: Direction | null, w: LevelStrengths): number {
  const weights = new Float64Array(s.count);
  const left = new Float64Array(s.count);
  for (let i = 0; i < s.count; i++) {
    const d1 = s.nx[i]! * l1[0] + s.ny[i]! * l1[1] + s.nz[i]! * l1[2];
    const d2 = l2 === null ? 0 : s.nx[i]! * l2[0] + s.ny[i]! * l2[1] + s.nz[i]! * l2[2];
    const shade = s.y[i]! - w[0] - w[1] * s.ny[i]! - w[3] * Math.max(0, d2);
    const lit = shade - w[2] * Math.max(0, d1);
    const own = lossOf(lit / s.scale, 1);
    weights[i] = own <= shadowLoss(d1, shade / s.scale, 1) ? Math.max(0, 1 - own) : 0;
    left[i] = lit;
  }
  return shareExplained(s, weights, left);
}

/**
 * Share of the weighted samples' variance that a fit explains, noise left out of both; 0 where too
 * few count. @param left what the fit leaves of each
 */
export function shareExplained(s: ShadedSamples, weights: Float64Array, left: Float64Array): number {
  let used = 0;
  let mean = 0;
  for (let i = 0; i < s.count; i++) {
    used += weights[i]!;
    mean += weights[i]! * s.y[i]!;
  }
  if (!(used > 20)) return 0;
  mean /= used;
  let all = 0;
  let rest = 0;
  for (let i = 0; i < s.count; i++) {
    all += weights[i]! * (s.y[i]! - mean) ** 2;
    rest += weights[i]! * left[i]! ** 2;
  }
  const free = s.noise * s.noise * used;
  return all > free ? Math.max(0, 1 - Math.max(0, rest - free) / (all - free)) : 0;
}

/**
 * Share of a head's brightest samples that the lights do not reach, 0..1: they are surely lit, so a
 * direction that leaves them out is not to be trusted.
 */
export function unreached(s: ShadedSamples, l1: Direction, l2: Direction | null, w: LevelStrengths): number {
  const order = Array.from({ length: s.count }, (_, i) => i)
    .sort((a, b) => s.y[b]! - s.y[a]!)
    .slice(0, Math.ceil(BRIGHTEST * s.count));
  const facing = (i: number, l: Direction): number => Math.max(0, s.nx[i]! * l[0] + s.ny[i]! * l[1] + s.nz[i]! * l[2]);
  const missed = order.filter(
    (i) =>
      s.y[i]! - w[0] - w[1] * s.ny[i]! - w[2] * facing(i, l1) - (l2 === null ? 0 : w[3] * facing(i, l2)) >
      REACHED * s.scale,
  );
  return missed.length / order.length;
}

/** Least squares by coordinate descent from w, with a, k1, k2 ≥ 0 and |b| ≤ .9 a. A: lower triangle. */
function solveBounded(A: Float64Array, g: Float64Array, w: Float64Array, free: number): void {
  for (let pass = 0; pass < 30; pass++) {
    let moved = 0;
    for (let i = 0; i < free; i++) {
      const d = A[5 * i]!;
      if (!(d > 1e-12)) continue;
      let q = g[i]!;
      for (let j = 0; j < free; j++) if (j !== i) q -= (i >= j ? A[4 * i + j]! : A[4 * j + i]!) * w[j]!;
      q /= d;
      q = i === 1 ? Math.max(-0.9 * w[0]!, Math.min(0.9 * w[0]!, q)) : Math.max(0, q);
      moved = Math.max(moved, Math.abs(q - w[i]!));
      w[i] = q;
    }
    if (moved < 1e-6 * w[0]!) break;
  }
}
