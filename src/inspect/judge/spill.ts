/**
 * Judges screen colour left on the performer: at its outline by itself, all over and at the outline beside the take.
 */
import type { PeelStep } from '../../join/performer-steps.js';
import { LIMITS, OTHER_SPILL, OWN_SPILL, THROWN } from '../limits.js';
import type { Series } from '../reader/series.js';
import { middle, ofMean, passesAlone, screenLeft, stepOf, values, worstBy, type Judge, type Told } from './judging.js';
import { castBeside, isOwn } from './own-picture.js';

/** Spill removal from which there is no more of it. */
const WHOLE = 0.95;

/** Adds `spill`: screen colour over the other two channels, in per cent of brightness. */
export function judgeSpill(series: Series, judge: Judge): void {
  const peel = stepOf(judge.recipe, 'peel');
  if (peel?.method === 'outline' || peel?.method === 'difference') {
    judge.none('spill', '%', 'peel', 'the take was shot before no screen');
    return;
  }
  const colour = peel?.screen ?? 'green',
    allowed = allowedOf(series),
    alone = atOutline(series, peel, colour, allowed),
    take = passesAlone(alone, LIMITS.spill)
      ? (allOver(series, peel, colour) ?? moreAtOutline(series, peel, colour))
      : null,
    told = take ?? alone;
  if (told === null) judge.none('spill', '%', 'peel', 'too little of the outline is seen');
  else judge.add('spill', '%', 'peel', told);
}

/** A set of the screen's colour throws it back by right. */
function allowedOf(series: Series): number {
  const set = middle(values(series.readings.spillSet));
  return LIMITS.spill + (Number.isFinite(set) ? THROWN * set : 0);
}

function atOutline(series: Series, peel: PeelStep | null, colour: string, allowed: number): Told | null {
  const told = ofMean(
    series,
    'spill',
    (v) => (LIMITS.spill * Math.max(0, v)) / allowed,
    (v) => leftAtOutline(v, peel, colour),
  );
  const bySet = allowed > 1.1 * LIMITS.spill ? `, as the set about the performer is ${colour} itself` : '';
  return told === null ? null : { ...told, needed: `at most ${allowed.toFixed(1)} %${bySet}` };
}

function leftAtOutline(v: number, peel: PeelStep | null, colour: string): string {
  return (
    `${v.toFixed(1)} % of ${colour} is left on the performer: ` +
    `${removeMore(peel) ?? 'spill removal is already whole, so keep the performer farther from the screen'}, ` +
    `or mark with "keep" what is ${colour} by right`
  );
}

function removeMore(peel: PeelStep | null): string | null {
  return peel !== null && peel.spill < WHOLE
    ? `raise the peel's spill removal from ${peel.spill.toFixed(2)} to 1`
    : null;
}

const percent = (stops: number): number => 100 * (2 ** stops - 1);

/** Of the recipe's own picture: the screen's colour all over it; null within the limit. */
function allOver(series: Series, peel: PeelStep | null, colour: 'green' | 'blue'): Told | null {
  const beside = castBeside(series),
    left = beside?.own === true ? screenLeft(beside, colour) : 0;
  if (!(left > OWN_SPILL)) return null;
  const list = series.readings.lightBlue!,
    v = percent(left);
  return {
    value: v,
    worst: worstBy(list, Math.abs),
    off: (LIMITS.spill * left) / OWN_SPILL,
    limit: LIMITS.spill,
    readings: list,
    needed: `within ${percent(OWN_SPILL).toFixed(0)} % of ${colour} of what the recipe renders`,
    advice:
      `there is ${v.toFixed(0)} % more ${colour} on the performer than this recipe renders, ` +
      `so something changed it after the join or the peel's spill removal (${(peel?.spill ?? 1).toFixed(2)} now) ` +
      'was lowered before: render again',
  };
}

/** More of the screen's colour at the outline than deep in the body, beside the take; null within the limit. */
function moreAtOutline(series: Series, peel: PeelStep | null, colour: string): Told | null {
  const list = series.readings.spillBeside ?? [],
    left = middle(values(list)),
    most = isOwn(series) ? OWN_SPILL : OTHER_SPILL;
  if (!(left > most)) return null;
  const v = percent(left);
  return {
    value: v,
    worst: worstBy(list, (q) => q),
    off: (LIMITS.spill * left) / most,
    limit: LIMITS.spill,
    readings: list,
    needed:
      `within ${percent(most).toFixed(0)} % of ${colour} at the outline, beyond the body's, ` +
      'of what the recipe renders',
    advice:
      `there is ${v.toFixed(0)} % more ${colour} near the outline than deep in the body, ` +
      'beside what this recipe renders of the take: ' +
      `${removeMore(peel) ?? 'render again from this recipe, whose spill removal is whole'}`,
  };
}
