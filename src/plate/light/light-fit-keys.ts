/**
 * Strengths of an ambient and of one or two directional lights of given directions, the first light's strength being 1:
 *     S = a + b · (n · up) + max(0, n · l1) + k · max(0, n · l2)
 * fitted to the differences of log brightness between samples of a surface of known normals (light-head-pairs.ts), so
 * that neither the surface's colour nor the exposure matters. Gauss-Newton with the Geman-McClure loss, narrowed step
 * by step so that no poor start is kept (A. Blake & A. Zisserman, *Visual Reconstruction*, 1987: graduated
 * non-convexity); a pair that sees no key (cast shadow) pays a toll.
 */
import { PATTERN, type HeadPairs } from './light-head-pairs.js';

export type Direction = readonly [number, number, number];

/** Cost a pair (0..1) and [a, b, k]. */
export interface KeysFit {
  readonly cost: number;
  readonly w: readonly [number, number, number];
}

/** How much wider the loss is in the first rounds of a fit from nothing. */
const GRADUAL = [4, 2.5, 1.6, 1.2];
/** What it costs to explain a pair as lying in a cast shadow. */
const SHADOW_TOLL = 0.1;
/**
 * What is usual of an ambient light, and its weight: it falls off downwards by this share of itself, since a sky or a
 * ceiling is brighter than the ground under it (an even sky over ground that reflects a quarter gives 0.6, a room less;
 * common practice, no source). Without it a low weak key and a high stronger one explain a face alike.
 */
const SKY_SLOPE = 0.3;
const SKY_WEIGHT = 0.025;
/** Most ambient, in keys, and most second light; the change of one round is bounded to these factors. */
const MOST_AMBIENT = 20;
const MOST_SECOND = 1.5;
const UP = 3;
const DOWN = 0.4;

/** Room for one head's fits. */
export class KeysRoom {
  readonly s: HeadPairs;
  readonly d1: Float64Array;
  readonly d2: Float64Array;
  readonly lit: Float64Array;
  readonly shade: Float64Array;
  readonly litPer: Float64Array;
  readonly shadePer: Float64Array;

  constructor(s: HeadPairs) {
    const of = (): Float64Array => new Float64Array(s.count);
    this.s = s;
    this.d1 = of();
    this.d2 = of();
    this.lit = of();
    this.shade = of();
    this.litPer = of();
    this.shadePer = of();
  }

  /** Log brightness of every sample for these lights into `lit`, of those that see no key into `shade`. */
  predict(w: readonly [number, number, number]): void {
    const { s, d1, d2, lit, shade, litPer, shadePer } = this;
    for (let i = 0; i < s.count; i++) {
      const ambient = w[0] + w[1] * s.ny[i]! + w[2] * d2[i]!;
      const all = ambient + d1[i]!;
      lit[i] = Math.log(all);
      litPer[i] = 1 / all;
      shade[i] = Math.log(ambient);
      shadePer[i] = 1 / ambient;
    }
  }

  /** Directions to be fitted for. */
  aim(l1: Direction, l2: Direction | null): void {
    const { s, d1, d2 } = this;
    for (let i = 0; i < s.count; i++) {
      d1[i] = Math.max(0, s.nx[i]! * l1[0] + s.ny[i]! * l1[1] + s.nz[i]! * l1[2]);
      d2[i] = l2 === null ? 0 : Math.max(0, s.nx[i]! * l2[0] + s.ny[i]! * l2[1] + s.nz[i]! * l2[2]);
    }
  }
}

/** Fits the strengths for the directions l1 and l2 (null: one light), from w where given. */
export function fitKeys(
  room: KeysRoom,
  l1: Direction,
  l2: Direction | null,
  rounds: number,
  from: readonly [number, number, number] | null,
): KeysFit {
  const { s } = room;
  const second = l2 !== null;
  let w: [number, number, number] = from === null ? [0.25, 0.25 * SKY_SLOPE, second ? 0.3 : 0] : [...from];
  room.aim(l1, l2);
  let cost = 0;
  for (let round = 0; round < rounds; round++) {
    room.predict(w);
    const sums = gather(room, from === null ? (GRADUAL[round] ?? 1) ** 2 : 1);
    const miss = w[1] - SKY_SLOPE * w[0];
    const ambient = Math.max(w[0], 0.05);
    const ridge = (SKY_WEIGHT * s.pairs) / (PATTERN * ambient) ** 2;
    cost = sums.cost + Math.min(4 * SKY_WEIGHT * s.pairs, ridge * miss * miss);
    if (round === rounds - 1) break;
    w = bounded(w, stepOf(sums, ridge, miss, second), second);
  }
  return { cost: cost / s.pairs, w };
}

/** Symmetric normal equations of a change of [a, b, k], and the cost. */
interface Sums {
  readonly cost: number;
  readonly aa: number;
  readonly ab: number;
  readonly bb: number;
  readonly ak: number;
  readonly bk: number;
  readonly kk: number;
  readonly ga: number;
  readonly gb: number;
  readonly gk: number;
}

/** Sums over all pairs, as predicted; every pair lit or, where that costs less, in a cast shadow. */
function gather({ s, d1, d2, lit, shade, litPer, shadePer }: KeysRoom, widen: number): Sums {
  let aa = 0;
  let ab = 0;
  let bb = 0;
  let ak = 0;
  let bk = 0;
  let kk = 0;
  let ga = 0;
  let gb = 0;
  let gk = 0;
  let cost = 0;
  for (let p = 0; p < s.pairs; p++) {
    const i = s.from[p]!;
    const j = s.to[p]!;
    const v = s.variance[p]! * widen;
    const seen = s.log[i]! - s.log[j]!;
    let e = seen - lit[i]! + lit[j]!;
    let t2 = (e * e) / v;
    let loss = t2 / (1 + t2);
    let pi = litPer[i]!;
    let pj = litPer[j]!;
    if (d1[i]! > 0.05 && d1[j]! > 0.05) {
      const es = seen - shade[i]! + shade[j]!;
      const ts = (es * es) / v;
      const ls = ts / (1 + ts) + SHADOW_TOLL;
      if (ls < loss) {
        loss = ls;
        e = es;
        t2 = ts;
        pi = shadePer[i]!;
        pj = shadePer[j]!;
      }
    }
    cost += loss;
    const wt = 1 / ((1 + t2) * (1 + t2) * v);
    const ja = pi - pj;
    const jb = s.ny[i]! * pi - s.ny[j]! * pj;
    const jk = d2[i]! * pi - d2[j]! * pj;
    aa += wt * ja * ja;
    ab += wt * ja * jb;
    bb += wt * jb * jb;
    ak += wt * ja * jk;
    bk += wt * jb * jk;
    kk += wt * jk * jk;
    ga += wt * ja * e;
    gb += wt * jb * e;
    gk += wt * jk * e;
  }
  return { cost, aa, ab, bb, ak, bk, kk, ga, gb, gk };
}

/** Change of [a, b, k], b held to what is usual of an ambient by `ridge`, from which it is off by `miss`. */
function stepOf(n: Sums, ridge: number, miss: number, second: boolean): readonly [number, number, number] {
  return solve3(
    n.aa * 1.001 + SKY_SLOPE ** 2 * ridge + 1e-9,
    n.ab - SKY_SLOPE * ridge,
    n.bb * 1.001 + ridge + 1e-9,
    n.ak,
    n.bk,
    second ? n.kk * 1.001 + 1e-9 : 1,
    n.ga + ridge * SKY_SLOPE * miss,
    n.gb - ridge * miss,
    second ? n.gk : 0,
  );
}

/** The strengths changed by a step, within what a light can be. */
function bounded(
  w: readonly [number, number, number],
  step: readonly [number, number, number],
  second: boolean,
): [number, number, number] {
  const a = Math.min(MOST_AMBIENT, UP * w[0] + 0.05, Math.max(0.02, DOWN * w[0], w[0] + step[0]));
  return [
    a,
    Math.max(-0.9 * a, Math.min(0.9 * a, w[1] + step[1])),
    second ? Math.max(0, Math.min(MOST_SECOND, w[2] + step[2])) : 0,
  ];
}

/** Solves a symmetric 3 × 3 system; zeros where it has no answer. */
function solve3(
  aa: number,
  ab: number,
  bb: number,
  ak: number,
  bk: number,
  kk: number,
  x: number,
  y: number,
  z: number,
): readonly [number, number, number] {
  const c0 = bb * kk - bk * bk;
  const c1 = ak * bk - ab * kk;
  const c2 = ab * bk - ak * bb;
  const det = aa * c0 + ab * c1 + ak * c2;
  if (!(Math.abs(det) > 1e-18)) return [0, 0, 0];
  const d1 = aa * kk - ak * ak;
  const d2 = ab * ak - aa * bk;
  const e2 = aa * bb - ab * ab;
  return [(c0 * x + c1 * y + c2 * z) / det, (c1 * x + d1 * y + d2 * z) / det, (c2 * x + d2 * y + e2 * z) / det];
}
