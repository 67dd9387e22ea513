/**
 * A pace drawn by hand: a few points that say which take frame stands on which frame of the join, and the curve through
 * them. It is the monotone cubic of Fritsch & Carlson (geometry/cubic-curve.ts): smooth, and it goes back only where
 * two points do, so that no hand gets a picture running backwards that it did not draw.
 */
import { counted } from '../../core/counted.js';
import { PlatewrightError } from '../../core/errors.js';
import { cubicCurve, monotoneSlopes } from '../../geometry/cubic-curve.js';

/** Which frame of the take stands on a frame of the join. */
export interface PacePoint {
  /** Frame of the join, counted from the pick's first; whole. */
  readonly at: number;
  /** Frame of the take; fractional between two. */
  readonly take: number;
}

/** What of the two clips the curve goes by. */
export interface PacedClips {
  /** Frames of the join. */
  readonly count: number;
  /** First and last frame of the take. */
  readonly first: number;
  readonly last: number;
  /** Take frames that go by in a frame of the join at the take's own speed. */
  readonly ownStep: number;
}

/** A take frame nearer than this to a whole number is shown as it was filmed. */
const WHOLE = 1e-3;

const WAY_OUT = 'move that point, or leave the pace to the program again';

const refused = (sentence: string, detail: Record<string, unknown>): PlatewrightError =>
  new PlatewrightError('PW-JOIN-PACE', sentence, { kind: 'usage', detail });

/**
 * Points as somebody gave them, in the order of the join's frames. Throws `PW-JOIN-PACE` where they are none, name a
 * frame twice, are no numbers, or go back in the take though they were not to.
 */
export function pacePointsOf(given: readonly PacePoint[], backwards: boolean): PacePoint[] {
  if (given.length === 0) throw refused('a pace by hand needs a point at least', {});
  for (const { at, take } of given)
    if (!(Number.isInteger(at) && at >= 0 && Number.isFinite(take) && take >= 0))
      throw refused('a point of the pace is a whole frame of the join and a frame of the take, both from 0 on', {
        at,
        take,
      });
  const points = [...given].sort((a, b) => a.at - b.at);
  points.forEach(({ at, take }, i) => {
    const before = points[i - 1];
    if (before === undefined) return;
    if (before.at === at)
      throw refused(`frame ${at} of the join is given twice, with take frames ${before.take} and ${take}`, { at });
    if (take < before.take && !backwards)
      throw refused(
        `from frame ${before.at} to ${at} of the join the take would run backwards, from frame ${before.take} to ` +
          `${take}; say that it may (--backwards), or put the points in rising order`,
        { at, take },
      );
  });
  return points.map(({ at, take }) => ({ at, take }));
}

/**
 * Take frame of each frame of the join, on the curve through the points; before the first and after the last the take
 * goes at its own speed as far as it has frames. Throws `PW-JOIN-PACE` where a point lies outside join or take.
 */
export function curveByHand(points: readonly PacePoint[], { count, first, last, ownStep }: PacedClips): number[] {
  for (const { at, take } of points) {
    if (at >= count)
      throw refused(`the join has frames 0 to ${count - 1}, and no frame ${at} for a point; ${WAY_OUT}`, { at });
    if (take < first || take > last)
      throw refused(`the take has frames ${first} to ${last}, and no frame ${take} for a point; ${WAY_OUT}`, { take });
  }
  const xs = points.map((p) => p.at),
    ys = points.map((p) => p.take),
    between = cubicCurve(xs, ys, monotoneSlopes(xs, ys)),
    [from, to] = [xs[0]!, xs.at(-1)!];
  return Array.from({ length: count }, (_, n) => {
    const v = between(n) + (n < from ? n - from : n > to ? n - to : 0) * ownStep,
      near = Math.round(v),
      exact = Math.abs(v - near) < WHOLE ? near : v;
    return Math.min(last, Math.max(first, exact));
  });
}

/** Frames of the join that show no take frame as it was filmed, by index. */
export function madeBetween(curve: readonly number[]): number[] {
  return curve.flatMap((v, n) => (Math.abs(v - Math.round(v)) < WHOLE ? [] : [n]));
}

/** The pace in words: as a recipe's reason says it. */
export function sayPaceByHand(points: readonly PacePoint[], curve: readonly number[]): string {
  const made = madeBetween(curve).length,
    steps = curve.slice(1).map((v, i) => v - curve[i]!),
    back = steps.filter((s) => s < -WHOLE).length,
    still = steps.filter((s) => Math.abs(s) <= WHOLE).length;
  return (
    `paced by hand through ${counted(points.length, 'point')}: ` +
    points.map((p) => `take frame ${Number(p.take.toFixed(2))} on frame ${p.at}`).join(', ') +
    (made === 0 ? '; every frame is one of the take' : `; ${counted(made, 'frame')} drawn between two of the take`) +
    (back === 0 ? '' : `; it runs backwards over ${counted(back, 'frame')}`) +
    (still === 0 ? '' : `; it stands still over ${counted(still, 'frame')}`)
  );
}

/**
 * A few points that a curve nearly goes through, to begin drawing from: its ends, and where it leaves the curve through
 * those chosen before by more than half a frame (as Douglas & Peucker, 1973, thin lines).
 */
export function pointsOfCurve(curve: readonly number[], most: number): PacePoint[] {
  const at = curve.length < 2 ? [0] : [0, curve.length - 1];
  while (at.length < most) {
    const ys = at.map((n) => curve[n]!),
      drawn = cubicCurve(at, ys, monotoneSlopes(at, ys));
    let worst = -1,
      apart = 0.5;
    curve.forEach((v, n) => {
      const d = Math.abs(drawn(n) - v);
      if (d > apart) [worst, apart] = [n, d];
    });
    if (worst < 0) break;
    at.push(worst);
    at.sort((a, b) => a - b);
  }
  return at.map((n) => ({ at: n, take: Number(curve[n]!.toFixed(2)) }));
}
