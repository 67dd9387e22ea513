/**
 * Where a performer goes that somebody carries who turns: round the carrier's axis, at one distance, height and bearing
 * from the way the carrier faces (motion on a circle about a known upright, seen by a pinhole: Hartley & Zisserman,
 * 2004, chapter 6). The turn is measured (plate/turn/turn.ts), the axis marked (`body`), distance, bearing and heights
 * follow from the marks by least squares, drawn to what arms do: an arm's length before the chest. What is left over at
 * the marks is shared out between them. A flat region followed on such a body shows other faces soon.
 *
 * The covariance of that fit, carried to every frame, says where one more mark would help most.
 */
import { three } from '../../core/tuples.js';
import { RAD_PER_DEG } from '../../core/angles.js';
import { levenbergMarquardt } from '../../geometry/levenberg-marquardt.js';
import { apply, applyVector, invert, multiply, unit, type Vec3 } from '../../geometry/mat3.js';
import { worldToCamera } from '../../geometry/camera.js';
import type { Turn } from '../../plate/types.js';
import { carryPoint, type Carrier, type Keyed } from './carrier.js';
import { marksOf, viewAngles, type ProposalInput } from '../proposal-input.js';
import { carryStand, type Px, type Stand } from './ride.js';
import type { Place, Plate } from './travel-stand.js';

/**
 * What is held is held an arm's length before the axis, about where the chest faces or to a side (own choice; metres,
 * degrees).
 */
const DISTANCE_M = 0.35,
  DISTANCE_SD_M = 0.15,
  BEARING_SD_DEG = 45;
/** How well a hand marks, pixels. */
const MARK_SD_PX = 1.5;
/** A carrier that turns less shows the same face all along (own choice). */
const LEAST_TURN_DEG = 40;
/** A place less sure than this is asked a mark for (own choice). */
const SAID_PX = 4;
/** Where nothing tells metres a body's marked axis is a person's height. */
const PERSON_M = 1.7;
/**
 * How far under the top of a body's axis, which may begin anywhere under it, the shoulders are: 1 − .818 of a person's
 * height (Drillis & Contini, Body segment parameters, 1966; from memory). Who sits less than so far under them, metres,
 * sits on them.
 */
const SHOULDERS_DOWN_M = 0.182 * PERSON_M,
  LEAST_UNDER_M = 0.15;

export type AxisFrom = readonly [away: number, left: number, shoulders: number];

export interface TurningStand {
  readonly where: Place;
  /** Frame on which the place is least sure, and its sd there, px. */
  readonly unsure: { readonly frame: number; readonly sdPx: number };
  readonly distanceM: number;
  /** How many px nearer than the axis the performer is on a frame, and where the axis stands there. */
  readonly nearerPx: (frame: number) => number;
  readonly axisAt: (frame: number) => Px;
  /**
   * Where the axis stands on a frame: metres from the performer away from the camera, and to the picture's left, and
   * how far over its foot the carrier's shoulders are; null where it sits on these.
   */
  readonly axisFrom: ((frame: number) => AxisFrom) | null;
  /** It sits on the carrier's shoulders. */
  readonly onTop: boolean;
  /** Miss of marks left out, rms px; null with fewer than three. */
  readonly leftOutPx: number | null;
}

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

/** Null where the carrier hardly turns, or nobody marked its axis. */
export function turningStand(stands: readonly Stand[], c: Carrying): TurningStand | null {
  const yaws = c.turn.frames
    .filter((f) => f.frame >= c.plate.span.in && f.frame < c.plate.span.out)
    .map((f) => f.yawDeg);
  if (
    c.axis.length === 0 ||
    stands.length === 0 ||
    yaws.length === 0 ||
    Math.max(...yaws) - Math.min(...yaws) < LEAST_TURN_DEG
  )
    return null;
  const fitted = fit(stands, c),
    frames = new Set(stands.map((s) => s.frame));
  let leftOutPx: number | null = null;
  if (frames.size >= 3) {
    const inner = [...stands].sort((a, b) => a.frame - b.frame).slice(1, -1);
    const misses = inner.map((s) => {
      const told = settled(
        stands.filter((o) => o !== s),
        fit(
          stands.filter((o) => o !== s),
          c,
        ).path,
        c,
      )(s.frame);
      return (told.ground[0] - s.ground[0]) ** 2 + (told.ground[1] - s.ground[1]) ** 2;
    });
    leftOutPx = Math.sqrt(misses.reduce((a, b) => a + b, 0) / misses.length);
  }
  const onTop = fitted.path(stands[0]!.frame).axisFrom[2] < LEAST_UNDER_M;
  return {
    where: settled(stands, fitted.path, c),
    unsure: leastSure(stands, c, fitted),
    distanceM: fitted.p[0],
    nearerPx: (n) => fitted.path(n).nearerPx,
    axisAt: carryPoint(
      c.axis.map((a): Keyed => ({ frame: a.frame, point: a.foot })),
      c.set,
    ),
    axisFrom: onTop ? null : (n) => fitted.path(n).axisFrom,
    onTop,
    leftOutPx,
  };
}

/** How the step says it. */
export function sayTurning(t: TurningStand): string {
  return (
    `the carrier's measured turn, ${t.distanceM.toFixed(2)} m before its axis (on frame ${t.unsure.frame} the ` +
    `place is known to ± ${t.unsure.sdPx.toFixed(0)} ` +
    `px${t.unsure.sdPx > SAID_PX ? `: one more mark there would help most` : ''})`
  );
}

/**
 * The turning carrier's path, where the plate has what it takes and it tells the marks as well as what would carry them
 * else: with three and more marked frames by those left out (rms), with fewer because whatever is followed on a body
 * that turns shows other faces before long.
 */
export function turningPlace(
  input: ProposalInput,
  stands: readonly Stand[],
  set: Carrier,
  otherwise: Carrier,
  heightM: number | null,
): TurningStand | null {
  const pm = input.plate.measures,
    view = viewAngles(pm, stands[0]!.frame);
  const axis = marksOf(input.plate.marks, 'body').flatMap((b) =>
    b.mark.axis === undefined ? [] : [{ frame: b.frame, foot: b.mark.axis[0], top: b.mark.axis[1] }],
  );
  if (pm.turn === undefined || view === null) return null;
  const told = turningStand(stands, {
    turn: pm.turn,
    axis,
    set,
    plate: pm,
    focalPx: view.focalPx,
    tiltDeg: view.tiltDeg,
    rollDeg: view.rollDeg,
    heightM,
  });
  if (told === null || told.leftOutPx === null) return told;
  const inner = [...stands].sort((a, b) => a.frame - b.frame).slice(1, -1);
  const other = Math.sqrt(
    inner.reduce((sum, s) => {
      const at = carryStand(
        stands.filter((o) => o !== s),
        otherwise,
      )(s.frame).ground;
      return sum + (at[0] - s.ground[0]) ** 2 + (at[1] - s.ground[1]) ** 2;
    }, 0) / inner.length,
  );
  return told.leftOutPx <= other ? told : null;
}

type Numbers = readonly [distanceM: number, bearing: number, groundM: number, topM: number];
type Path = (
  frame: number,
  p?: readonly number[],
  yawOffDeg?: number,
) => {
  readonly ground: [number, number];
  readonly top: [number, number];
  readonly nearerPx: number;
  readonly axisFrom: AxisFrom;
};
interface Fitted {
  readonly p: Numbers;
  readonly path: Path;
  readonly covariance: Float64Array | null;
}

function fit(stands: readonly Stand[], c: Carrying): Fitted {
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

/** The path through the marks: what it leaves over there is shared out between them. */
function settled(stands: readonly Stand[], path: Path, { plate: { span } }: Carrying): Place {
  const held = (n: number): number => Math.min(span.out - 1, Math.max(span.in, n)),
    first = path(span.in);
  const along = (what: 'ground' | 'top'): ((n: number) => [number, number]) =>
    carryPoint(
      stands.map((s): Keyed => ({ frame: s.frame, point: s[what] })),
      {
        at: (n) => {
          const p = path(held(n))[what];
          return [1, 0, p[0] - first[what][0], 0, 1, p[1] - first[what][1], 0, 0, 1];
        },
      },
    );
  const ground = along('ground'),
    top = along('top');
  return (n) => ({ ground: ground(n), top: top(n) });
}

/**
 * Where the foot is least sure: by the fit's covariance beside the nearest mark, which holds the path, and by the
 * turn's own sd.
 */
function leastSure(
  stands: readonly Stand[],
  { turn, plate: { span } }: Carrying,
  { p, path, covariance }: Fitted,
): { frame: number; sdPx: number } {
  const slope = (frame: number): number[][] =>
    p.map((_, k) => {
      const q = [...p];
      q[k] = q[k]! + 1e-4;
      const a = path(frame, q).ground,
        b = path(frame).ground;
      return [(a[0] - b[0]) / 1e-4, (a[1] - b[1]) / 1e-4];
    });
  let worst = { frame: stands[0]!.frame, sdPx: 0 };
  for (let n = span.in; n < span.out; n++) {
    const mark = stands.reduce((b, s) => (Math.abs(s.frame - n) < Math.abs(b.frame - n) ? s : b)),
      at = slope(n),
      held = slope(mark.frame);
    let variance = 0;
    for (const axis of [0, 1])
      for (let i = 0; i < 4; i++)
        for (let j = 0; j < 4; j++)
          variance +=
            (at[i]![axis]! - held[i]![axis]!) * (covariance?.[4 * i + j] ?? 0) * (at[j]![axis]! - held[j]![axis]!);
    const yawSd = n === mark.frame ? 0 : (turn.frames.find((f) => f.frame === n)?.sd ?? 0),
      a = path(n, p, 1).ground,
      b = path(n).ground;
    const sdPx = Math.sqrt(Math.max(0, variance) + yawSd ** 2 * ((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2));
    if (sdPx > worst.sdPx) worst = { frame: n, sdPx };
  }
  return worst;
}
