/** Judges the performer's brightest parts: beside the plate's, and beside the take through the recipe. */
import { exposureStopsOf } from '../../join/step-numbers.js';
import { BURNT, LIMITS, OTHER_WHITE, WHITE_OVERSHOOT, WHITE_ROOM } from '../limits.js';
import type { Reading, Series } from '../reader/series.js';
import { mean, middle, ofMean, stepOf, triple, values, worstBy, type Judge, type Told } from './judging.js';
import { isOwn } from './own-picture.js';

/** Adds `whiteLevel`: coded values over the plate's brightest, or stops over the take's. */
export function judgeWhite(series: Series, judge: Judge): void {
  const slope = stepOf(judge.recipe, 'light')?.slope ?? [1, 1, 1],
    stops = middle(values(series.readings.whiteStops)),
    alone = ofMean(
      series,
      'whiteLevel',
      (v) => Math.max(0, v),
      (v) => overPlate(v, stops, slope),
    );
  if (alone === null) {
    judge.none('whiteLevel', 'coded', 'light', 'the performer is too small');
    return;
  }
  const most = mostOver(series),
    full = series.readings.whiteFull ?? [];
  // A pale coat before a dark set stands over all of it by right: only what is burnt out as well shows.
  const burnt = full.length === 0 || mean(full) > BURNT,
    brightest = series.readings.takeWhite ?? [];
  // Of the recipe's own picture exposure and veil tell it all.
  const over = isOwn(series) || brightest.length === 0 ? 0 : middle(values(brightest));
  if (over > OTHER_WHITE && (alone.off <= most || !burnt))
    judge.add('whiteLevel', 'stops', 'light', overTake(brightest, over, slope));
  else
    judge.add('whiteLevel', 'coded', 'light', {
      ...alone,
      off: burnt ? alone.off : Math.min(alone.off, most),
      limit: most,
      needed: neededOf(most),
    });
}

/** By how much the brightest may lie over the plate's, coded: less where little is left above that. */
function mostOver(series: Series): number {
  const room = series.readings.whiteRoom ?? [];
  return room.length === 0
    ? LIMITS.whiteLevel
    : Math.min(LIMITS.whiteLevel, Math.max(WHITE_OVERSHOOT, WHITE_ROOM * mean(room)));
}

function neededOf(most: number): string {
  const ofRoom = most < LIMITS.whiteLevel ? `, ${WHITE_ROOM} of what is left there` : '';
  return (
    `at most ${most.toFixed(2)} of the coded range above the plate's brightest${ofRoom}, ` +
    `or less than ${100 * BURNT} % of it burnt out`
  );
}

/** In the words of the sheet's slider, and as the recipe has it. */
function lowerSlope(slope: readonly [number, number, number], stops: number): string {
  const now = exposureStopsOf(slope);
  return (
    `lower the light step's exposure from ${now.toFixed(2)} to about ${(now - stops).toFixed(2)} stops ` +
    `(its slope from ${triple(slope)} to about ${triple(slope.map((s) => s * 2 ** -stops))})`
  );
}

function overPlate(v: number, stops: number, slope: readonly [number, number, number]): string {
  return (
    `the performer's brightest parts are ${(100 * v).toFixed(0)} % (${stops.toFixed(1)} stops) brighter than ` +
    `anything in the plate: where its coat is no brighter than the set, ${lowerSlope(slope, stops)}`
  );
}

function overTake(list: readonly Reading[], over: number, slope: readonly [number, number, number]): Told {
  return {
    value: over,
    worst: worstBy(list, (q) => q),
    off: over,
    limit: OTHER_WHITE,
    readings: list,
    needed: `at most ${OTHER_WHITE} stop above the take through the recipe`,
    advice:
      `the performer's brightest parts are ${over.toFixed(1)} stops brighter than this recipe renders of the take: ` +
      `render again, or ${lowerSlope(slope, over)}`,
  };
}
