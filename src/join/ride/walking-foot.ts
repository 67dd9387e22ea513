/**
 * Where a performer that walks towards the camera or away from it touches the ground: its picture goes along by itself,
 * but the ground step must know at which depth it stands, or it floats over its own shadow. The lowest part of its
 * outline is followed over the take, freed from the camera's motion; leaps and steps, which come back within a second,
 * are closed (the closing of mathematical morphology along time: Serra, *Image Analysis and Mathematical Morphology*,
 * 1982), so that a shadow stays on the ground under who jumps. Who stays in place is left where the mark says. Limits
 * are our own.
 */
import { apply } from '../../geometry/mat3.js';
import type { Cut } from '../peel/cut-off.js';
import { steadyMatrix } from './steady.js';
import type { SteadyStep } from '../performer-steps.js';

/** Lowest part of the performer on a take frame, take pixels. */
export interface FootSeen {
  readonly frame: number;
  readonly x: number;
  readonly y: number;
  /** Where the take's own picture cuts it off there. */
  readonly cuts: readonly Cut[];
}

/** The cuts seen on the nearest frame of the take that was looked at; null where none was. */
export function cutsNear(feet: readonly FootSeen[] | undefined, takeFrame: number): readonly Cut[] | null {
  return feet === undefined || feet.length === 0
    ? null
    : feet.reduce((a, b) => (Math.abs(b.frame - takeFrame) < Math.abs(a.frame - takeFrame) ? b : a)).cuts;
}

/** How far the foot is from where it was marked, take pixels of the steadied take. */
export type FootWay = (takeFrame: number) => readonly [number, number];

/** Seconds within which a leap comes down again. */
const LEAP_S = 1;
/** Places by which it is told how a foot goes on below the picture. */
const LEAST_WHOLE = 3;
/** Less way up or down than this share of the performer's height is a shift of weight. */
const LEAST = 0.07;

/** Where the foot was followed, and how far up and down it goes, take pixels. */
interface FollowedFoot {
  readonly way: FootWay;
  /** Where it stands from side to side, by a line through what was seen within half a second; null: too little. */
  readonly across: (takeFrame: number) => number | null;
  readonly rangePx: number;
}

/**
 * The foot's way for one who walks nearer or farther.
 *
 * @param feet in the order of frames @param steady the step that takes the camera's motion out, where it is on
 * @param marked frame on which the foot was marked @param heightPx of the performer in the take @param framesPerSecond
 * of the take
 * @returns null for one who stays in place, or where too little was seen
 */
export function footWay(
  feet: readonly FootSeen[],
  steady: SteadyStep | null,
  marked: number,
  heightPx: number,
  framesPerSecond: number,
): FootWay | null {
  const followed = followFoot(feet, steady, marked, framesPerSecond);
  return followed === null || followed.rangePx < LEAST * heightPx ? null : followed.way;
}

/**
 * How far the foot stands on a frame that a hand chose from where it was marked, take pixels; 0 where that is no more
 * than a shift of weight, or too little was seen. Parameters as for `footWay`.
 */
export function footAway(frame: number, ...from: Parameters<typeof footWay>): readonly [number, number] {
  const [feet, steady, marked, heightPx, framesPerSecond] = from;
  const followed = followFoot(feet, steady, marked, framesPerSecond);
  if (followed === null) return [0, 0];
  const [x, y] = followed.way(frame),
    // The mean of what is near lags behind at the take's ends, where a mark mostly is.
    [then, now] = [followed.across(marked), followed.across(frame)],
    away = [then === null || now === null ? x : now - then, y] as const;
  return Math.hypot(...away) < LEAST * heightPx ? [0, 0] : away;
}

function followFoot(
  feet: readonly FootSeen[],
  steady: SteadyStep | null,
  marked: number,
  framesPerSecond: number,
): FollowedFoot | null {
  if (feet.length < 4) return null;
  const half = (LEAP_S / 2) * framesPerSecond;
  const at = belowBorder(
    feet.map((f) => {
      const [x, y] = apply(steadyMatrix(steady, f.frame), f.x, f.y);
      return { frame: f.frame, x, y };
    }),
    feet.map((f) => f.cuts.some((c) => c.side === 'bottom')),
    2 * half,
  );
  const closed = closing(at, half);
  // Which paw is lowest changes from frame to frame: the middle of them goes its way smoothly.
  const xs = at.map((_, i) => {
    const near = at.filter((b) => Math.abs(b.frame - at[i]!.frame) <= half);
    return near.reduce((s, b) => s + b.x, 0) / near.length;
  });
  const between = (v: readonly number[], frame: number): number => {
    const j = at.findIndex((a) => a.frame >= frame);
    if (j <= 0) return v[j < 0 ? v.length - 1 : 0]!;
    const t = (frame - at[j - 1]!.frame) / (at[j]!.frame - at[j - 1]!.frame);
    return v[j - 1]! + t * (v[j]! - v[j - 1]!);
  };
  const x0 = between(xs, marked),
    y0 = between(closed, marked);
  return {
    way: (n) => [between(xs, n) - x0, between(closed, n) - y0],
    across: (n) => {
      const near = at.filter((p) => Math.abs(p.frame - n) <= half);
      return near.length < LEAST_WHOLE
        ? null
        : lineAt(
            near.map((p) => ({ frame: p.frame, x: 0, y: p.x })),
            n,
          );
    },
    rangePx: Math.max(...closed) - Math.min(...closed),
  };
}

interface Place {
  readonly frame: number;
  readonly x: number;
  readonly y: number;
}

/**
 * Where the take's lower border cuts the performer, the lowest that is seen is the border, not its foot: who walks out
 * of the take below goes on as it went in the last second that showed it whole (a line by least squares), and never
 * stands above the border. Who is cut all along, or was whole too shortly, is left as seen.
 *
 * @param window the second before or after, frames
 */
function belowBorder(at: readonly Place[], cut: readonly boolean[], window: number): readonly Place[] {
  if (!cut.includes(true)) return at;
  const whole = at.filter((_, i) => !cut[i]);
  return at.map((p, i) => {
    if (!cut[i]) return p;
    const sides = [whole.filter((q) => q.frame < p.frame), whole.filter((q) => q.frame > p.frame)].map((side, k) => {
      const edge = k === 0 ? side[side.length - 1] : side[0];
      return edge === undefined ? [] : side.filter((q) => Math.abs(q.frame - edge.frame) <= window);
    });
    const goesOn = sides.filter((side) => side.length >= LEAST_WHOLE).map((side) => lineAt(side, p.frame));
    return goesOn.length === 0 ? p : { ...p, y: Math.max(p.y, Math.min(...goesOn)) };
  });
}

/** Height at a frame by the straight line through places, least squares. */
function lineAt(places: readonly Place[], frame: number): number {
  const n = places.length,
    f0 = places.reduce((s, q) => s + q.frame, 0) / n,
    y0 = places.reduce((s, q) => s + q.y, 0) / n;
  const across = places.reduce((s, q) => s + (q.frame - f0) ** 2, 0);
  return y0 + (places.reduce((s, q) => s + (q.frame - f0) * (q.y - y0), 0) / across) * (frame - f0);
}

/**
 * Heights with what rises and comes back within the window filled; beyond both ends the way goes on as it came (odd
 * reflection).
 */
function closing(path: readonly { readonly frame: number; readonly y: number }[], half: number): number[] {
  const first = path[0]!,
    last = path[path.length - 1]!;
  const long = [
    ...path
      .filter((p) => p.frame > first.frame && p.frame <= first.frame + 2 * half)
      .map((p) => ({ frame: 2 * first.frame - p.frame, y: 2 * first.y - p.y }))
      .reverse(),
    ...path,
    ...path
      .filter((p) => p.frame < last.frame && p.frame >= last.frame - 2 * half)
      .map((p) => ({ frame: 2 * last.frame - p.frame, y: 2 * last.y - p.y }))
      .reverse(),
  ];
  const near = (list: readonly { readonly frame: number; readonly y: number }[], frame: number): number[] =>
    list.filter((p) => Math.abs(p.frame - frame) <= half).map((p) => p.y);
  const raised = long.map((p) => ({ frame: p.frame, y: Math.max(...near(long, p.frame)) }));
  return path.map((p) => Math.min(...near(raised, p.frame)));
}
