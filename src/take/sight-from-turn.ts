/**
 * How steeply the take's camera looks down at a performer that turns on the spot, told by how its coat moves: between
 * two frames the vertical motion rises across the body by ψ sin e (turn-slope.ts). A chain of frames from pose to pose
 * adds these up to Ψ sin e, and the poses say what Ψ is; so neither lens nor camera height has to be known, nor how the
 * turn goes between the poses.
 */
import { DEG_PER_RAD, RAD_PER_DEG, differenceDeg } from '../core/angles.js';
import type { Pose } from '../plate/turn/turn-poses.js';
import { cellMotions, slopeOfCells, type BodyFrame, type CellMotion, type Window } from './turn-slope.js';

/** What a take frame shows of the performer, at a size common to all frames. */
export interface SeenBody extends BodyFrame {
  readonly box: Window;
}

export interface SightFromTurn {
  /** Is how far it turned told by poses that were marked, or by the coat's motion as well? */
  readonly by: 'poses' | 'coat';
  /** How far below the level the line of sight to the performer's middle falls. */
  readonly elevationDeg: number;
  readonly sd: number;
  /** Turn that told it, degrees, and between which frames. */
  readonly turnDeg: number;
  readonly frames: readonly [number, number];
}

/** The performer's upright and the lens about, px of the size at which its frames are given. */
export interface TurnPlace {
  readonly ground: readonly [number, number];
  readonly top: readonly [number, number];
  readonly focalPx: number;
  readonly heightPx: number;
}

/** A longer step of a chain moves the coat too far to be followed, a shorter one too little; so many steps at most. */
const STEP_DEG = 6,
  MOST_STEPS = 20;
/** A smaller turn tells too little. */
export const LEAST_TURN_DEG = 20;
/** Of a pose read by eye, as for every turn (plate/turn/turn-poses.ts). */
const POSE_SD_DEG = 3;
/**
 * What a rigid turn may leave of a step's vertical motion, in parts of its motion, beside a quarter of a pixel; and
 * least motion over the chain, in parts of what half the body's breadth would go: a body that stands while its head
 * turns moves less (own choices; practice takes leave .04 to .07 and move .9 to 1.6).
 */
const MOST_LEFT = 0.15,
  LEFT_PX = 0.25,
  LEAST_MOTION = 0.25;
/** Share of the slope that the motion's estimate is off by (0 to .15 short on traced takes), and the least sd. */
const SHARE_SD = 0.1,
  LEAST_SD_DEG = 1;
/** No home camera looks down at its performer more steeply, or up at it. */
export const STEEPEST_DEG = 60,
  FLATTEST_DEG = -15;

/** One way round between two poses, radians. */
interface Leg {
  readonly turn: number;
  readonly slope: number;
  readonly variance: number;
}

/**
 * Null where the poses show too little of a turn, or where what moves is no rigid turn.
 * @param seen what a take frame shows, null where no performer is seen
 */
export async function sightFromTurn(
  poses: readonly Pose[],
  place: TurnPlace,
  seen: (frame: number) => Promise<SeenBody | null>,
): Promise<SightFromTurn | null> {
  const sorted = [...poses]
    .sort((a, b) => a.frame - b.frame)
    .filter((p, i, all) => i === 0 || p.frame > all[i - 1]!.frame);
  const chains = chainsOf(sorted);
  if (chains.length === 0) return null;
  const steps: { readonly leg: number; readonly cells: readonly CellMotion[] }[] = [];
  let breadth = 0;
  for (const [leg, chain] of chains.entries()) {
    let before: SeenBody | null = null;
    for (const frame of chain.frames) {
      const now = await seen(frame);
      if (now === null) return null;
      breadth = Math.max(breadth, now.box.x1 - now.box.x0);
      if (before !== null) steps.push({ leg, cells: stepCells(before, now, place) });
      before = now;
    }
  }
  const total = chains.reduce((s, c) => s + Math.abs(c.turn), 0);
  const legs = legsOf(chains, steps, (LEAST_MOTION * total * breadth) / 2),
    sine = legs === null ? Infinity : sineOf(legs);
  if (legs === null || !(Math.abs(sine) < 1)) return null;
  const elevationDeg = Math.asin(sine) * DEG_PER_RAD;
  if (elevationDeg > STEEPEST_DEG || elevationDeg < FLATTEST_DEG) return null;
  return {
    by: 'poses',
    elevationDeg,
    sd: sdOf(legs, elevationDeg),
    turnDeg: total * DEG_PER_RAD,
    frames: [chains[0]!.frames[0]!, chains[chains.length - 1]!.frames.at(-1)!],
  };
}

interface Chain {
  /** Radians; positive where the front turns to the picture's left. */
  readonly turn: number;
  readonly frames: readonly number[];
}

/** Chains of frames from turn to turn the same way; empty where the poses turn too little. */
function chainsOf(poses: readonly Pose[]): Chain[] {
  const out: { turn: number; frames: number[] }[] = [];
  let steps = 0;
  for (let i = 1; i < poses.length; i++) {
    const a = poses[i - 1]!,
      b = poses[i]!,
      turn = differenceDeg(b.yawDeg, a.yawDeg),
      count = Math.max(1, Math.min(b.frame - a.frame, Math.round(Math.abs(turn) / STEP_DEG)));
    if (steps + count > MOST_STEPS && steps > 0) break;
    steps += count;
    const frames = Array.from({ length: count + 1 }, (_, k) => Math.round(a.frame + ((b.frame - a.frame) * k) / count)),
      last = out.at(-1);
    if (last !== undefined && last.turn * turn >= 0) {
      last.turn += turn;
      last.frames.push(...frames.slice(1));
    } else out.push({ turn, frames });
  }
  const told = out.filter((c) => Math.abs(c.turn) >= STEP_DEG);
  return told.reduce((s, c) => s + Math.abs(c.turn), 0) < LEAST_TURN_DEG
    ? []
    : told.map((c) => ({ turn: c.turn * RAD_PER_DEG, frames: c.frames }));
}

function stepCells(before: SeenBody, now: SeenBody, place: TurnPlace): CellMotion[] {
  const middle = [(place.ground[0] + place.top[0]) / 2, (place.ground[1] + place.top[1]) / 2] as const,
    fall = (y: number): number => Math.atan((y - place.heightPx / 2) / place.focalPx);
  return cellMotions(
    before,
    now,
    {
      x0: Math.min(before.box.x0, now.box.x0),
      y0: Math.min(before.box.y0, now.box.y0),
      x1: Math.max(before.box.x1, now.box.x1),
      y1: Math.max(before.box.y1, now.box.y1),
    },
    middle[0],
    (y) => fall(y) - fall(middle[1]),
  );
}

/** Slopes added up over each chain; null where a step is no rigid turn, or all of them together hardly move. */
function legsOf(
  chains: readonly Chain[],
  steps: readonly { readonly leg: number; readonly cells: readonly CellMotion[] }[],
  leastMotionPx: number,
): Leg[] | null {
  const legs = chains.map((c) => ({ turn: c.turn, slope: 0, variance: 0 }));
  let moved = 0;
  for (const step of steps) {
    const s = slopeOfCells(step.cells),
      leg = legs[step.leg]!;
    if (s === null || s.leftPx > MOST_LEFT * s.motionPx + LEFT_PX) return null;
    leg.slope += s.slope;
    leg.variance += s.sd ** 2;
    moved += s.motionPx;
  }
  return moved < leastMotionPx ? null : legs;
}

/** Least squares of slope = turn · sin e over the legs. */
function sineOf(legs: readonly Leg[]): number {
  return legs.reduce((s, l) => s + l.turn * l.slope, 0) / legs.reduce((s, l) => s + l.turn ** 2, 0);
}

/** By the poses at both ends of each leg, by the fits, and by what the motion's estimate falls short. Degrees. */
function sdOf(legs: readonly Leg[], elevationDeg: number): number {
  const e = elevationDeg * RAD_PER_DEG,
    squares = legs.reduce((s, l) => s + l.turn ** 2, 0),
    pose = (Math.SQRT2 * POSE_SD_DEG * RAD_PER_DEG * Math.sin(e)) / Math.sqrt(squares),
    fit = Math.sqrt(legs.reduce((s, l) => s + l.turn ** 2 * l.variance, 0)) / squares;
  return Math.max(
    LEAST_SD_DEG,
    (Math.hypot(pose, fit, SHARE_SD * Math.sin(e)) / Math.max(0.2, Math.cos(e))) * DEG_PER_RAD,
  );
}
