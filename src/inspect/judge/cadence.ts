/**
 * Judges whether frames are doubled, missing or out of step (../movement/motion.ts and ../movement/in-step.ts read it).
 */
import type { Reading, Series } from '../reader/series.js';
import { stepOf, type Judge } from './judging.js';

/**
 * How far over its limit a cadence counts that no slip makes: it shakes everything else for a moment, so it comes
 * first.
 */
export const NO_SLIP = 1000;

/**
 * Mean change of coded luma between frames (half a step of an 8-bit picture) under which an encoder's own leaving out
 * of still parts passes for a doubled frame.
 */
const STILL = 0.002;

/**
 * Share of what moves in the plate that must fit another of its frames: true joins read 0 to .03, out of step .94 to 1.
 */
const OUT_OF_STEP = 0.6;

/** Take frames per plate frame between which a plan is even enough that a leap or a standstill is none of its own. */
const PLANNED_STILL = 0.3,
  PLANNED_LEAP = 1.6;

/** Frames named beside the worst. */
const NAMED = 5;

type Change = Series['change'][number];
type Pick = (v: Change) => number | null;
/** `size`: how far it stands out; `whole`: the whole picture does it, not the performer alone. */
interface Fault {
  readonly frame: number;
  readonly size: number;
  readonly what: string;
  readonly whole: boolean;
}

/** Adds `cadence`: frames at fault among those looked at; where the whole picture is at fault it outweighs the slip. */
export function judgeCadence(series: Series, judge: Judge): void {
  if (series.change.length < 4) {
    judge.none('cadence', 'frames', 'pace', 'fewer than five frames');
    return;
  }
  const changed = series.change.map((_, i) => faultAt(series, i)).filter((f) => f !== null),
    faults = withSteps(series, changed);
  judge.rows('cadence', rowsOf(series, changed));
  // What the performer alone does may be its slip's doing, leaps more than one frame that stands still; what the whole
  // picture does is not.
  const whole = faults.some((f) => f.whole),
    leaps = faults.length > 0 && faults.every((f) => f.what.startsWith('missing')),
    worst = faults.length === 0 ? null : faults.reduce((w, f) => (f.size > w.size ? f : w));
  judge.add('cadence', 'frames', 'pace', {
    value: faults.length,
    worst: worst?.frame ?? null,
    off: whole ? NO_SLIP + faults.length : leaps ? faults.length / 2 : faults.length,
    advice: worst === null ? '' : advice(faults, worst, judge),
  });
}

/**
 * What is wrong with one frame by how much it changes beside its neighbours, the plate and the plan; null where nothing
 * is.
 */
function faultAt(series: Series, i: number): Fault | null {
  const c = series.change[i]!,
    around = [series.change[i - 1], series.change[i + 1]].filter((v) => v !== undefined);
  if (around.length < 2) return null;
  const least = (pick: Pick): number => Math.min(...around.map((v) => pick(v) ?? NaN)),
    most = (pick: Pick): number => Math.max(...around.map((v) => pick(v) ?? NaN)),
    plan = series.planned[i + 1] ?? 1,
    outside = least((v) => v.outside),
    inside = least((v) => v.inside),
    plateHolds = c.plate < 0.5 * least((v) => v.plate);
  if (!plateHolds && outside > STILL && c.outside < 0.4 * outside)
    return { frame: c.frame, size: outside / Math.max(1e-6, c.outside), what: 'doubled', whole: true };
  if (c.inside === null) return null;
  const doubled =
    !plateHolds &&
    inside > STILL &&
    c.inside < 0.4 * expected(series.change, i, inside) &&
    share(c)! < 0.5 * least(share) &&
    plan > PLANNED_STILL;
  if (doubled)
    return { frame: c.frame, size: inside / Math.max(1e-6, c.inside), what: 'doubled in the performer', whole: false };
  // A performer that starts and stops (or was drawn on every second frame) changes unevenly by itself: two frames to
  // each side tell.
  const near = Math.max(...[i - 2, i - 1, i + 1, i + 2].flatMap((k) => series.change[k]?.inside ?? []));
  const leaps =
    c.inside > Math.max(STILL, 1.7 * near) &&
    share(c)! > 1.5 * most(share) &&
    plan > PLANNED_STILL &&
    plan < PLANNED_LEAP &&
    c.outside < 1.6 * most((v) => v.outside);
  return leaps ? { frame: c.frame, size: c.inside / near, what: 'missing before it', whole: false } : null;
}

/** What jumps outside as well is the camera's or the encoder's. */
function share(v: Change): number | null {
  return v.inside === null ? null : v.inside / Math.max(STILL, v.outside);
}

/**
 * What slows down to turn round holds still for a moment by right: the change must fall out of the slope to each side
 * as well.
 */
function expected(change: readonly Change[], k: number, most: number): number {
  const slopes = [-1, 1].map((side) => {
    const one = change[k + side]?.inside,
      two = change[k + 2 * side]?.inside;
    return one == null || two == null ? most : Math.max(0, 2 * one - two);
  });
  return Math.min(most, ...slopes);
}

/** The faults and, on frames that have none, where the plate beside the performer is another of its frames. */
function withSteps(series: Series, changed: readonly Fault[]): Fault[] {
  const faults = [...changed],
    add = (frame: number, size: number, what: string): void => {
      if (size > OUT_OF_STEP && !faults.some((f) => f.frame === frame)) faults.push({ frame, size, what, whole: true });
    };
  for (const o of series.inStep) {
    add(o.frame, o.before, "out of step: beside the performer it shows the plate's frame before");
    add(o.frame - 1, o.after, "out of step: beside the performer it shows the plate's next frame, so one was left out");
  }
  return faults;
}

function rowsOf(series: Series, changed: readonly Fault[]): Reading[] {
  return series.change.map((c) => ({ frame: c.frame, value: changed.some((f) => f.frame === c.frame) ? 1 : 0 }));
}

function advice(faults: readonly Fault[], worst: Fault, judge: Judge): string {
  const others = faults
    .filter((f) => f !== worst)
    .slice(0, NAMED)
    .map((f) => f.frame);
  const more = faults.length > 1 ? ` (and ${faults.length - 1} more: ${others.join(', ')})` : '';
  return `frame ${worst.frame} is ${worst.what}${more}: ${paceThere(judge, worst.frame)}`;
}

/** What the pace step does at a frame, so that a plateau or a leap in it is seen. */
function paceThere(judge: Judge, frame: number): string {
  const pace = stepOf(judge.recipe, 'pace'),
    i = frame - judge.recipe.plate.in;
  const here = pace?.curve[i],
    there = pace?.curve[i - 1];
  if (here === undefined || there === undefined) return 'render again, and check the take for dropped frames';
  const wayOut =
    Math.abs(here - there - 1) < 0.3
      ? 'that is even, so render again, and check the take for a dropped frame'
      : 'make its curve even about it and render again';
  return `the pace step goes from take frame ${there.toFixed(1)} to ${here.toFixed(1)} there; ${wayOut}`;
}
