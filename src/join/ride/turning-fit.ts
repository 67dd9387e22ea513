/**
 * The fit of a carried performer's way round the carrier (turning-stand.ts): distance, bearing and heights by least
 * squares from the marks, drawn to what arms do, and the path of foot and top that follows from them by the measured
 * turn. Lengths in metres, pictures in plate pixels.
 */
import { three } from '../../core/tuples.js';
import { RAD_PER_DEG } from '../../core/angles.js';
import { levenbergMarquardt } from '../../geometry/levenberg-marquardt.js';
import { apply, applyVector, invert, multiply, unit, type Vec3 } from '../../geometry/mat3.js';
import { worldToCamera } from '../../geometry/camera.js';
import type { Turn } from '../../plate/types.js';
import { carryPoint, type Carrier, type Keyed } from './carrier.js';
import type { Px, Stand } from './ride.js';
import type { Plate } from './travel-stand.js';

/**
 * What is held is held an arm's length before the axis, about where the chest faces or to a side (own choice; metres,
 * degrees).
 */
const DISTANCE_M = 0.35,
  DISTANCE_SD_M = 0.15,
  BEARING_SD_DEG = 45;
/** How well a hand marks, pixels. */
const MARK_SD_PX = 1.5;
/** Where nothing tells metres a body's marked axis is a person's height. */
const PERSON_M = 1.7;
/**
 * How far under the top of a body's axis, which may begin anywhere under it, the shoulders are: 1 − .818 of a person's
 * height (Drillis & Contini, Body segment parameters, 1966; from memory). Who sits less than so far under them, metres,
 * sits on them.
 */
export const SHOULDERS_DOWN_M = 0.182 * PERSON_M,
  LEAST_UNDER_M = 0.15;

/**
 * Where the carrier's axis stands beside the performer, metres: away from the camera, to the picture's left, and how far
 * its shoulders are over its foot.
 */
export type AxisFrom = readonly [away: number, left: number, shoulders: number];

export interface Carrying {
  readonly turn: Turn;
  /** Foot and top of the carrier's axis on one frame or several. */
  readonly axis: readonly { readonly frame: number; readonly foot: Px; readonly top: Px }[];
  readonly set: Carrier;
  readonly plate: Plate;
  readonly focalPx: number;
  readonly tiltDeg: number;
  readonly rollDeg: number;
  /** The performer's height, where it is known. */
  readonly heightM: number | null;
}

type Numbers = readonly [distanceM: number, bearing: number, groundM: number, topM: number];

export type Path = (
  frame: number,
  p?: readonly number[],
  yawOffDeg?: number,
) => {
  readonly ground: [number, number];
  readonly top: [number, number];
  readonly nearerPx: number;
  readonly axisFrom: AxisFrom;
};

export interface Fitted {
  readonly p: Numbers;
  readonly path: Path;
  readonly covariance: Float64Array | null;
}

/**
 * Distance, bearing and heights that lay the path on the marks, by least squares with a hand's noise on each mark and
 * what arms usually do as prior.
 * @param stands where the performer was marked, at least one
 */
export function fit(stands: readonly Stand[], c: Carrying): Fitted {
  const path = pathOf(stands, c);
  const residuals = (p: ArrayLike<number>): number[] => [
    ...stands.flatMap((s) => {
      const q = path(s.frame, [p[0]!, p[1]!, p[2]!, p[3]!]);
      return [
        (q.ground[0] - s.ground[0]) / MARK_SD_PX,
        (q.ground[1] - s.ground[1]) / MARK_SD_PX,
        (q.top[0] - s.top[0]) / MARK_SD_PX,
        (q.top[1] - s.top[1]) / MARK_SD_PX,
      ];
    }),
    (p[0]! - DISTANCE_M) / DISTANCE_SD_M,
    p[1]! / (BEARING_SD_DEG * RAD_PER_DEG),
  ];
  const solved = levenbergMarquardt({
    start: [DISTANCE_M, 0, 1, 1.5],
    residualCount: 4 * stands.length + 2,
    residuals: (p, out) => {
      out.set(residuals(p));
    },
  });
  const p = [...solved.parameters] as unknown as Numbers;
  return { p, path: (frame, q = p, off = 0) => path(frame, q, off), covariance: solved.covariance };
}

/** Ground and top on a frame, in the picture, for distance, bearing and heights over the axis's foot. */
function pathOf(
  stands: readonly Stand[],
  c: Carrying,
): (frame: number, p: readonly number[], yawOffDeg?: number) => ReturnType<Path> {
  const f = c.focalPx,
    cx = c.plate.widthPx / 2,
    cy = c.plate.heightPx / 2,
    first = c.axis[0]!;
  // Pixels a metre at the axis, from the performer's own height or a person's.
  const s0 = stands[0]!,
    perMetre =
      c.heightM !== null
        ? Math.hypot(s0.top[0] - s0.ground[0], s0.top[1] - s0.ground[1]) / c.heightM
        : Math.hypot(first.top[0] - first.foot[0], first.top[1] - first.foot[1]) / PERSON_M;
  const z = f / perMetre,
    up: Vec3 = unit(applyVector(worldToCamera(0, c.tiltDeg, c.rollDeg), [0, 1, 0]));
  const footAt = carryPoint(
      c.axis.map((a): Keyed => ({ frame: a.frame, point: a.foot })),
      c.set,
    ),
    home = first.frame;
  const yawAt = yawOf(c.turn),
    shoulders = Math.hypot(first.top[0] - first.foot[0], first.top[1] - first.foot[1]) / perMetre - SHOULDERS_DOWN_M;
  return (frame, p, yawOffDeg = 0) => {
    // In the picture of the axis's first frame, then along with the set.
    const [fx, fy] = apply(multiply(c.set.at(home), invert(c.set.at(frame))), ...footAt(frame));
    const foot: Vec3 = [((fx - cx) / f) * z, ((fy - cy) / f) * z, z],
      h = foot[0] * up[0] + foot[1] * up[1] + foot[2] * up[2];
    const near = unit([h * up[0] - foot[0], h * up[1] - foot[1], h * up[2] - foot[2]]),
      left: Vec3 = [
        near[1] * up[2] - near[2] * up[1],
        near[2] * up[0] - near[0] * up[2],
        near[0] * up[1] - near[1] * up[0],
      ];
    const yaw = (yawAt(frame) + yawOffDeg) * RAD_PER_DEG + p[1]!,
      cos = p[0]! * Math.cos(yaw),
      sin = p[0]! * Math.sin(yaw);
    const see = (height: number): [number, number] => {
      const X = three((i) => foot[i]! + height * up[i]! + cos * near[i]! + sin * left[i]!);
      return apply(multiply(c.set.at(frame), invert(c.set.at(home))), cx + (f * X[0]) / X[2], cy + (f * X[1]) / X[2]);
    };
    return { ground: see(p[2]!), top: see(p[3]!), nearerPx: cos * perMetre, axisFrom: [cos, -sin, shoulders - p[2]!] };
  };
}

/** Yaw on any frame, between measured ones in proportion, beyond them the nearest's. */
function yawOf(turn: Turn): (frame: number) => number {
  return (n) => {
    let k = 0;
    while (k < turn.frames.length - 2 && turn.frames[k + 1]!.frame <= n) k++;
    const a = turn.frames[k]!,
      b = turn.frames[Math.min(turn.frames.length - 1, k + 1)]!,
      t = a === b ? 0 : Math.min(1, Math.max(0, (n - a.frame) / (b.frame - a.frame)));
    return a.yawDeg + t * (b.yawDeg - a.yawDeg);
  };
}
