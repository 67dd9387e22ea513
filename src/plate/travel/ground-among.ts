/**
 * The ground among points of a set whose depths are known up to one scale: the plane under the camera that most points
 * lie on, of those that three of them span (random sample consensus: Fischler & Bolles, CACM 24(6), 1981), refined by
 * least squares over those that agree. Believed only where it is most of what is seen under its own horizon: a plain
 * floor before a wall shows little but the wall, and a plane through a few marks of both is none.
 */
import { RandomStream } from '../../core/random.js';
import { cross, dot, unit, type Vec3 } from '../../geometry/mat3.js';
import { solveGeneral } from '../../geometry/linear-solve.js';
import { groundNormal, standsAt, type BundlePoint, type BundleState } from './bundle-equations.js';

export interface FoundGround {
  /** Of the camera over it, rad. */
  readonly tilt: number;
  readonly roll: number;
  /** Height of the camera over it, in the points' unit. */
  readonly height: number;
  readonly points: readonly BundlePoint[];
}

const TRIES = 600;
/** Ln of depth by which a point on the plane may be off at least and at most. */
const ALIKE = 0.05;
/** Points that tell a plane at least, and their share of all under its horizon. */
const LEAST = 30;
const SHARE = 0.5;
/** Farther than so many camera heights nothing tells of the ground. */
const FAR = 40;
/** How far the view may be off, in its sds, and beyond them (rad). */
const VIEW_SDS = 3;
const VIEW_RAD = 0.03;

interface Standing {
  readonly point: BundlePoint;
  readonly at: Vec3;
  readonly doubt: number;
}

/** @param sd of ln focal length, tilt and roll, as the view has them */
export function groundAmong(
  points: readonly BundlePoint[],
  state: BundleState,
  sd: readonly [number, number, number],
): FoundGround | null {
  const standing = points.flatMap((point): Standing[] => {
    const at = standsAt(state, point);
    const doubt = Math.max(ALIKE, Math.min(2 * ALIKE, 2.5 * point.relativeSd));
    return at === null || !(at[2] > 0) || point.relativeSd > 0.2 ? [] : [{ point, at, doubt }];
  });
  if (standing.length < LEAST) return null;
  const random = new RandomStream(standing.length, 41);
  const usual = groundNormal(state.tilt, state.roll);
  const most = Math.cos(VIEW_SDS * Math.hypot(sd[1], sd[2]) + VIEW_RAD);
  const allowed = (n: Vec3): boolean => dot(n, usual) > most;
  let best: Standing[] = [];
  for (let k = 0; k < TRIES; k++) {
    const [a, b, c] = [0, 1, 2].map(() => standing[random.below(standing.length)]!.at) as [Vec3, Vec3, Vec3];
    const across = cross(less(b, a), less(c, a));
    const size = Math.hypot(...across);
    if (!(size > 1e-9)) continue;
    const n = unit(across[1] > 0 ? across : [-across[0], -across[1], -across[2]]);
    if (!allowed(n) || !(dot(n, a) > 0)) continue;
    const on = onPlane(standing, n, dot(n, a));
    if (on.length > best.length) best = on;
  }
  for (let round = 0; round < 3 && best.length >= LEAST; round++) {
    const plane = fitPlane(best);
    if (plane === null || !allowed(unit(plane))) return null;
    const height = 1 / Math.hypot(...plane);
    const n = unit(plane);
    best = onPlane(standing, n, height);
    if (round < 2) continue;
    const under = standing.filter(({ at }) => dot(n, at) > height / FAR && below(n, at, height)).length;
    if (best.length < Math.max(LEAST, SHARE * under)) return null;
    return { tilt: Math.asin(n[2]) * -1, roll: Math.atan2(-n[0], n[1]), height, points: best.map((s) => s.point) };
  }
  return null;
}

const less = (a: Vec3, b: Vec3): Vec3 => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];

/** Is a point's ray under the horizon by enough to meet the plane within `FAR` heights? */
const below = (n: Vec3, at: Vec3, height: number): boolean => (dot(n, at) / at[2]) * FAR > 1 && height > 0;

/** Those whose depth is the plane's n · x = d, within their doubt. */
function onPlane(standing: readonly Standing[], n: Vec3, d: number): Standing[] {
  return standing.filter(({ at, doubt }) => {
    const ratio = dot(n, at) / d;
    return ratio > 0.5 && Math.abs(Math.log(ratio)) < doubt;
  });
}

/** The plane p · x = 1 that leaves least of ln depth. */
function fitPlane(on: readonly Standing[]): Vec3 | null {
  const a = new Float64Array(9);
  const b = new Float64Array(3);
  for (const { at, doubt } of on)
    for (let i = 0; i < 3; i++) {
      b[i] = b[i]! + at[i]! / (doubt * doubt);
      for (let j = 0; j < 3; j++) a[3 * i + j] = a[3 * i + j]! + (at[i]! * at[j]!) / (doubt * doubt);
    }
  const x = solveGeneral(a, b, 3);
  return x === null ? null : [x[0]!, x[1]!, x[2]!];
}
