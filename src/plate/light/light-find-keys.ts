/**
 * One key light or two on a head: search over directions with the robust fit of light-fit-keys.ts, then refinement.
 * Where a second directional light explains the shading better by far than one can, both are told and the stronger is
 * the key; what one light alone makes of two is their sum, 15° and more off. The shading's kinks, where each light
 * ends, tell them apart (Y. Zhang & Y.-H. Yang, *Multiple Illuminant Direction Detection with Application to Image
 * Synthesis*, IEEE PAMI 23, 2001); here by search over pairs of directions rather than by finding the kinks themselves.
 * Lights far behind the head are no second key: they show as a rim.
 */
import { DEG_PER_RAD } from '../../core/angles.js';
import { fitKeys, type Direction, type KeysFit, type KeysRoom } from './light-fit-keys.js';
import { fitLevels, type LevelStrengths } from './light-fit-levels.js';

export interface Lights extends KeysFit {
  readonly levels: LevelStrengths;
  readonly byLevels: number;
  readonly byDifferences: number;
  readonly l1: Direction;
  readonly l2: Direction | null;
}

export interface FoundKeys {
  readonly one: Lights;
  /** The best pair of lights, whether or not it is believed. */
  readonly two: Lights | null;
  /**
   * Spread of the one light's direction over all directions by how well each explains the head, degrees, each of two
   * axes.
   */
  readonly spreadDeg: number;
}

/** Cosine between two lights that are still two: 40°. */
const NEARER = 0.77;
/**
 * A second light shines on what is seen: its cosine with the sight line at least this; the first may stand 15° further
 * round.
 */
const BEHIND = -0.25;
const BEHIND_FIRST = -0.5;
const LOWEST = -0.4;
/**
 * How much less likely a direction is for each unit of cost a pair (chosen so that the
 * spread covers the errors on made heads).
 */
const DOUBT = 100;

/** Scalar product. */
export const dot = (a: Direction, b: Direction): number => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];

/** Angle between two directions of unit length, degrees. */
export const degreesApart = (a: Direction, b: Direction): number =>
  Math.acos(Math.max(-1, Math.min(1, dot(a, b)))) * DEG_PER_RAD;
const unit = (x: number, y: number, z: number): Direction => {
  const n = Math.hypot(x, y, z);
  return [x / n, y / n, z / n];
};

/** Weight of the levels' cost a sample beside the differences' a pair. */
const LEVELS = 0.5;

/**
 * Both fits for these directions: differences see through a coat's patches, levels through
 * a hat's shadow; each ends where its model does.
 */
function fitBoth(
  room: KeysRoom,
  l1: Direction,
  l2: Direction | null,
  rounds: number,
  from: { readonly w: readonly [number, number, number]; readonly levels: LevelStrengths } | null,
): Omit<Lights, 'l1' | 'l2'> {
  const d = fitKeys(room, l1, l2, rounds, from === null ? null : from.w);
  const v = fitLevels(room.s.levels, l1, l2, rounds, from === null ? null : from.levels);
  return {
    cost: (d.cost + (LEVELS * v.cost) / room.s.levels.count) / (1 + LEVELS),
    byLevels: v.cost / room.s.levels.count,
    byDifferences: d.cost,
    w: d.w,
    levels: v.w,
  };
}

/** Points of a Fibonacci sphere, but for those far below: a key from there lights nothing that is seen. */
export function directions(n: number): Direction[] {
  const out: Direction[] = [];
  for (let i = 0; i < n; i++) {
    const y = 1 - (2 * (i + 0.5)) / n;
    const r = Math.sqrt(1 - y * y);
    const a = i * 2.399963229728653;
    if (y >= -0.35) out.push([r * Math.cos(a), y, r * Math.sin(a)]);
  }
  return out;
}

/** The best single light and the best pair. `eye`: from the head to the camera. */
export function findKeys(room: KeysRoom, eye: Direction): FoundKeys {
  const tried: Lights[] = directions(200)
    .map((l1): Lights => ({ l1, l2: null, ...fitBoth(room, l1, null, 6, null) }))
    .sort((a, b) => a.cost - b.cost);
  const ones: Lights[] = [];
  for (const t of tried) {
    if (ones.length === 3) break;
    if (ones.every((o) => dot(o.l1, t.l1) < 0.95)) ones.push(t);
  }
  const refined = ones.map((f) => refine(room, f, null)).sort((a, b) => a.cost - b.cost);
  const one = refined[0]!;
  let two: Lights | null = null;
  const grid = directions(110).filter((d) => dot(d, eye) >= BEHIND);
  for (const f of refined.slice(0, 2)) {
    if (dot(f.l1, eye) < BEHIND_FIRST) continue;
    const pairs: Lights[] = grid
      .filter((d) => dot(d, f.l1) <= NEARER)
      .map(
        (l2): Lights => ({
          l1: f.l1,
          l2,
          ...fitBoth(room, f.l1, l2, 4, {
            w: [f.w[0], f.w[1], 0.2],
            levels: [f.levels[0], f.levels[1], f.levels[2], 0.2 * f.levels[2]],
          }),
        }),
      );
    for (const t of pairs.sort((a, b) => a.cost - b.cost).slice(0, 2)) {
      const r = refine(room, t, eye);
      if (two === null || r.cost < two.cost) two = r;
    }
  }
  let sum = 0;
  let square = 0;
  for (const t of tried) {
    const w = Math.exp(-DOUBT * Math.max(0, t.cost - one.cost));
    sum += w;
    square += w * degreesApart(t.l1, one.l1) ** 2;
  }
  return { one, two, spreadDeg: sum > 1e-9 ? Math.sqrt(square / sum / 2) : 0 };
}

/**
 * Pattern search of one or both directions with halving steps, from 6° to half of one.
 * With `eye`, two lights stay in front and apart.
 */
function refine(room: KeysRoom, from: Lights, eye: Direction | null): Lights {
  let now: Lights = { ...from, ...fitBoth(room, from.l1, from.l2, 8, from) };
  const better = (which: 0 | 1, step: number): boolean => {
    const d = which === 0 ? now.l1 : now.l2!;
    const other = which === 0 ? now.l2 : now.l1;
    const o: Direction = Math.abs(d[1]) < 0.9 ? [0, 1, 0] : [1, 0, 0];
    const t = unit(d[1] * o[2] - d[2] * o[1], d[2] * o[0] - d[0] * o[2], d[0] * o[1] - d[1] * o[0]);
    const v: Direction = [d[1] * t[2] - d[2] * t[1], d[2] * t[0] - d[0] * t[2], d[0] * t[1] - d[1] * t[0]];
    for (const [p, q] of [
      [step, 0],
      [-step, 0],
      [0, step],
      [0, -step],
    ] as const) {
      const l = unit(d[0] + p * t[0] + q * v[0], d[1] + p * t[1] + q * v[1], d[2] + p * t[2] + q * v[2]);
      if (
        l[1] < LOWEST ||
        (eye !== null &&
          (dot(l, eye) < (which === 0 ? BEHIND_FIRST : BEHIND) || (other !== null && dot(l, other) > NEARER)))
      )
        continue;
      const l1 = which === 0 ? l : now.l1;
      const l2 = which === 0 ? now.l2 : l;
      const r = fitBoth(room, l1, l2, 4, now);
      if (r.cost < now.cost - 1e-6) {
        now = { l1, l2, ...r };
        return true;
      }
    }
    return false;
  };
  for (let step = 0.105; step > 0.01; step /= 2) {
    for (let guard = 0; guard < 12; guard++) {
      const first = better(0, step);
      const second = now.l2 !== null && better(1, step);
      if (!first && !second) break;
    }
  }
  return now;
}
