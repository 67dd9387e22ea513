/**
 * Where a performer goes that somebody carries who turns: round the carrier's axis, at one distance, height and bearing
 * from the way the carrier faces (motion on a circle about a known upright, seen by a pinhole: Hartley & Zisserman,
 * 2004, chapter 6). The turn is measured (plate/turn/turn.ts), the axis marked (`body`), distance, bearing and heights
 * follow from the marks by least squares, drawn to what arms do: an arm's length before the chest. From
 * three marks on, these are freed of what the hand erred first (likely-stands.ts); what is left over there is shared out
 * between them. A flat region followed on such a body shows other faces soon.
 *
 * The covariance of that fit, carried to every frame, says where one more mark would help most.
 */
import { carryPoint, type Carrier, type Keyed } from './carrier.js';
import type { MarksFile } from '../../plate/marks/marks.js';
import { marksOf, viewAngles, type ProposalInput } from '../proposal-input.js';
import { likelyStands, type Departures, type GroundAndTop, type Told } from './likely-stands.js';
import { carryStand, type Px, type Stand } from './ride.js';
import type { Place } from './travel-stand.js';
import { type AxisFrom, type Carrying, type Fitted, LEAST_UNDER_M, type Path, fit } from './turning-fit.js';

/** A carrier that turns less shows the same face all along (own choice). */
const LEAST_TURN_DEG = 40;
/** A place less sure than this is asked a mark for (own choice). */
const SAID_PX = 4;

/** A body does not turn as one piece, and its turn is measured to some degrees: by some px (own choice). */
const BY_TURN: Departures = {
  together: 0.8,
  sizes: [
    [2, 0.3],
    [4, 0.3],
    [8, 0.2],
    [16, 0.1],
    [32, 0.1],
  ],
};

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
    where: settled(frames.size < 3 ? stands : freedOfHand(stands, fitted, c), fitted.path, c),
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
 * The upright about which the carrier turns: its `body` axis; where none is marked, an `upright` that goes through the
 * region of the carrier that is marked nearest in time, which is the carrier itself measured from sole to crown.
 */
export function carriersAxis(marks: MarksFile): Carrying['axis'] {
  const bodies = marksOf(marks, 'body').flatMap((b) =>
    b.mark.axis === undefined ? [] : [{ frame: b.frame, foot: b.mark.axis[0], top: b.mark.axis[1] }],
  );
  if (bodies.length > 0) return bodies;
  const carried = marksOf(marks, 'carry');
  return marksOf(marks, 'upright').flatMap(({ frame, mark: { foot, top } }) => {
    const near = carried.reduce<(typeof carried)[number] | null>(
      (b, c) => (b === null || Math.abs(c.frame - frame) < Math.abs(b.frame - frame) ? c : b),
      null,
    );
    return near !== null && passesThrough(near.mark.region, foot, top) ? [{ frame, foot, top }] : [];
  });
}

/** Whether the line from foot to top meets the region at the height of its middle. */
function passesThrough(region: readonly Px[], foot: Px, top: Px): boolean {
  const xs = region.map((p) => p[0]),
    ys = region.map((p) => p[1]),
    middle = (Math.min(...ys) + Math.max(...ys)) / 2,
    t = (middle - foot[1]) / (top[1] - foot[1]),
    x = foot[0] + (top[0] - foot[0]) * t;
  return t > 0 && t < 1 && x > Math.min(...xs) && x < Math.max(...xs);
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
  const axis = carriersAxis(input.plate.marks);
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

/** A step of distance (m), bearing (rad) and heights (m) over which the path moves evenly in the picture. */
const STEP = 1e-4;

/** The marks brought to where they most likely are round the axis. */
function freedOfHand(stands: readonly Stand[], { p, path }: Fitted, { plate }: Carrying): readonly Stand[] {
  const told = stands.map(({ frame }): Told => {
    const { ground, top } = path(frame);
    const moved = p.map((_, k): GroundAndTop => {
      const to = path(
        frame,
        p.map((v, i) => (i === k ? v + STEP : v)),
      );
      return [to.ground[0] - ground[0], to.ground[1] - ground[1], to.top[0] - top[0], to.top[1] - top[1]];
    });
    return { ground, top, moved };
  });
  return likelyStands(stands, told, BY_TURN, plate.widthPx).stands;
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
