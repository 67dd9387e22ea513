/**
 * Judges brightness of the performer that goes up and down from frame to frame, or that does not go along with the
 * film's own light (../light/level.ts reads it).
 */
import { quantile } from '../reader/frame.js';
import { outAndBack } from '../light/level.js';
import { FILM_LIGHT_CHANGES, LEFT_BEHIND, LIMITS } from '../limits.js';
import { mostlySeen } from '../movement/mostly-seen.js';
import type { Series } from '../reader/series.js';
import { stepOf, type Judge, type Told } from './judging.js';

/** Frames that are needed which can be held against both neighbours. */
const LEAST_ALIKE = 3;

/**
 * Adds `flicker`: stops up and down from frame to frame, or left behind by the performer where the film's light
 * changes.
 */
export function judgeFlicker(series: Series, judge: Judge): void {
  const behind = leftBehind(series, judge),
    jumps = upAndDown(series, judge);
  // Where the film's own light goes otherwise than the performer's, that is what is seen.
  if (behind !== null) judge.add('flicker', 'stops', 'light', behind);
  else if (jumps === null)
    judge.none('flicker', 'stops', 'light', 'too few frames that follow one another show enough of the performer');
  else judge.add('flicker', 'stops', 'light', jumps);
}

/**
 * Beside its own neighbours, beside the plate's going out and back too, and less its share of the film's own light,
 * where that changes: the least counts, as a lamp that flickers in the set lights both, and a flash whose whites clip
 * is followed a little less or more than whole.
 */
function upAndDown(series: Series, judge: Judge): Told | null {
  const l = series.levels,
    seen = mostlySeen(l),
    alike = (k: number): boolean => seen[k - 1]! && seen[k]! && seen[k + 1]!;
  if (l.filter((_, k) => k > 0 && k < l.length - 1 && alike(k)).length < LEAST_ALIKE) return null;
  const ways = [l.map((q) => q.inside), l.map((q) => q.inside - q.plate)].map((v) => ({
    frames: l.map((q) => q.frame),
    ...outAndBack(v, alike)!,
  }));
  const film = series.filmLight;
  if (film.length >= 5 && rangeOf(film) >= FILM_LIGHT_CHANGES) {
    const share = shareOf(film);
    ways.push({ frames: film.map((q) => q.frame), ...outAndBack(film.map((q) => q.inside - share * q.plate))! });
  }
  const read = ways.reduce((a, b) => (b.rms < a.rms ? b : a)),
    frame = read.frames[read.at]!;
  const jumps = l.flatMap((q, k) =>
    k === 0 || k === l.length - 1 || !alike(k)
      ? []
      : [{ frame: q.frame, value: Math.abs(q.inside - (l[k - 1]!.inside + l[k + 1]!.inside) / 2) }],
  );
  judge.rows('flicker', jumps);
  return {
    value: read.rms,
    worst: frame,
    off: read.rms,
    advice:
      `the performer's brightness goes up and down by ${read.rms.toFixed(2)} stop rms from frame to frame, ` +
      `most about frame ${frame}: lock the take's exposure and shoot again, ` +
      'or render again where the take itself is steady',
  };
}

/**
 * The film's light fades, rises or flashes and the performer's does not, or far more: its stops on the film's by least
 * squares. Null where the film's light hardly changes, or the performer's goes along.
 */
function leftBehind(series: Series, judge: Judge): Told | null {
  const l = series.filmLight;
  if (l.length < 5) return null;
  const usual = quantile(
      l.map((q) => q.plate),
      0.5,
    ),
    own = quantile(
      l.map((q) => q.inside),
      0.5,
    ),
    most = l.reduce((a, b) => (Math.abs(b.plate - usual) > Math.abs(a.plate - usual) ? b : a)),
    range = rangeOf(l);
  if (range < FILM_LIGHT_CHANGES) return null;
  const share = shareOf(l),
    lacks = (1 - share) * range;
  if (Math.abs(lacks) <= LEFT_BEHIND || Math.abs(1 - share) < 0.5) return null;
  const follows = stepOf(judge.recipe, 'light')?.overShot !== undefined;
  judge.rows(
    'flicker',
    l.map((q) => ({ frame: q.frame, value: Math.abs(q.inside - own - (q.plate - usual)) })),
  );
  return {
    value: lacks,
    worst: most.frame,
    off: (LIMITS.flicker * Math.abs(lacks)) / LEFT_BEHIND,
    needed: `the performer within ${LEFT_BEHIND} stop of how the film's own light changes over the shot`,
    advice:
      `the film's light changes by ${range.toFixed(1)} stops over the shot, farthest on frame ${most.frame}, ` +
      `and the performer's by ` +
      `${(share * range).toFixed(1)}: ` +
      (follows
        ? 'the light step follows the film, so something changed the picture after the join; render again'
        : 'the light step does not follow it; measure the plate again and propose the light step anew, or, ' +
          "where the camera moves and it can't be followed, end the pick before that change"),
  };
}

/** How far the film's light goes, stops. */
function rangeOf(l: Series['filmLight']): number {
  return Math.max(...l.map((q) => q.plate)) - Math.min(...l.map((q) => q.plate));
}

/** Slope of the performer's stops over the film's. */
function shareOf(l: Series['filmLight']): number {
  const n = l.length,
    mp = l.reduce((s, q) => s + q.plate, 0) / n,
    mi = l.reduce((s, q) => s + q.inside, 0) / n;
  let pp = 0,
    pi = 0;
  for (const q of l) {
    pp += (q.plate - mp) ** 2;
    pi += (q.plate - mp) * (q.inside - mi);
  }
  return pi / pp;
}
