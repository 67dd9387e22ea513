/** Judges grain: of the recipe's own picture by its very draw, of any other by single pictures and by what changes from frame to frame. */
import { quantile } from './frame.js';
import { isOwn } from './judge-beside.js';
import { middle, stepOf, worstBy, type Judge } from './judging.js';
import {
  ENCODER_DROWNS,
  ENCODER_NONE,
  GRAIN_LEFT,
  LIMITS,
  OWN_GRAIN_LEAST,
  OWN_GRAIN_MOST,
  OWN_GRAIN_UNSEEN,
  ROUGH_LEAST,
  ROUGH_MOST,
  ROUGH_MOVING,
  STEADY,
  SURE_MOST,
  UNSEEN,
  UNSEEN_ROUGH,
} from './limits.js';
import type { Reading, Series } from './series.js';

const values = (list: readonly Reading[] | undefined): number[] => (list ?? []).map((r) => r.value);

/** Of the recipe's own picture; false where it is not, or no grain is asked. */
function judgeOwnGrain(series: Series, judge: Judge): boolean {
  const own = isOwn(series) ? (series.readings.grainBeside ?? []) : [];
  if (own.length === 0) return false;
  const v = middle(values(own)),
    asked = middle(values(series.readings.grainAsked)),
    encoder = middle(values(series.readings.grainEncoder)) / Math.max(1e-6, asked),
    air = stepOf(judge.recipe, 'air');
  const slopes = series.readings.grainSlope ?? [],
    slope = middle(values(slopes)),
    most = slope + 2 * middle(values(series.readings.grainSlopeSd));
  // Whole where no encoder was at work; what one of fair quality leaves of fine grain is a quarter and more; under a poor one nothing can be told.
  const least = encoder < ENCODER_NONE ? OWN_GRAIN_LEAST : encoder < ENCODER_DROWNS ? GRAIN_LEFT : 0;
  const little = most < least && asked > OWN_GRAIN_UNSEEN,
    much = v > OWN_GRAIN_MOST && (v - 1) * asked > OWN_GRAIN_UNSEEN;
  if (!little && !much) {
    // The draw itself was looked for: a quiet plate beside a furred body tells nothing against that.
    judge.add('grain', 'ratio', 'air', {
      value: v,
      worst: worstBy(own, (q) => Math.abs(Math.log2(Math.max(0.02, q)))),
      off: 0,
      readings: own,
      advice: '',
      needed: `at most ${OWN_GRAIN_MOST} of what the plate's grain and an encoder make together; ${least > 0 ? `from ${least} of the grain that the recipe lays` : 'too little is not judged, as its encoder hides it'}`,
    });
    return true;
  }
  const says =
    air === null
      ? 'switch the air step on'
      : Math.abs(air.grain - 1) > 0.2
        ? `set the air step's grain from ${air.grain.toFixed(2)} to 1`
        : 'something took it off or added to it after the join, so the file is not what this recipe renders; render again';
  if (little)
    judge.add('grain', 'ratio', 'air', {
      value: Math.max(0, slope),
      worst: worstBy(slopes, (q) => -q),
      off: (LIMITS.grain * Math.log(Math.max(0.02, most))) / Math.log(least),
      readings: slopes,
      needed: `from ${least} of the grain that the recipe lays${encoder < ENCODER_NONE ? '' : ', as an encoder leaves it'}`,
      advice: `${(100 * Math.max(0, slope)).toFixed(0)} % of the grain that would match the plate's is on the performer: ${says}`,
    });
  else
    judge.add('grain', 'ratio', 'air', {
      value: v,
      worst: worstBy(own, (q) => q),
      off: (LIMITS.grain * Math.log(v)) / Math.log(OWN_GRAIN_MOST),
      readings: own,
      needed: `at most ${OWN_GRAIN_MOST} of what the plate's grain and an encoder make together`,
      advice: `the performer has ${v.toFixed(2)} times the grain that the plate has and its file adds: ${says}`,
    });
  return true;
}

export function judgeGrain(series: Series, judge: Judge): void {
  if (judgeOwnGrain(series, judge)) return;
  const sure = series.readings.grain ?? [],
    rough = series.readings.roughGrain ?? [];
  const list = sure.length >= 2 ? sure : rough;
  if (list.length === 0) {
    judge.none('grain', 'ratio', 'air', 'too little flat picture inside or outside the performer');
    return;
  }
  const v = quantile(values(list), 0.5);
  const [low, high] =
    list === sure
      ? [1 - LIMITS.grain, SURE_MOST]
      : [ROUGH_LEAST, quantile(series.steps, 0.5) > STEADY ? ROUGH_MOVING : ROUGH_MOST];
  const outside = values(list === sure ? series.readings.grainOutside : series.readings.roughOutside);
  const unseen =
    outside.length > 0 && Math.abs(v - 1) * quantile(outside, 0.5) < (list === sure || v > 1 ? UNSEEN : UNSEEN_ROUGH);
  // The quietest blocks of a plate are at most its grain and maybe gravel: without its measure too little can't be told.
  const unsaid = list === rough && (stepOf(judge.recipe, 'air')?.plateGrain?.table.length ?? 0) === 0;
  const bad = !unseen && ((v < low && !unsaid) || v > high);
  const air = stepOf(judge.recipe, 'air'),
    to = air === null ? null : Math.min(3, Math.max(0.05, air.grain) / Math.max(0.1, v));
  const advice =
    v < 1
      ? `the performer has ${v.toFixed(2)} of the plate's grain: ${air === null ? 'switch the air step on' : air.plateGrain === null ? "the plate's grain was not measured; measure it, or give the air step one" : `raise the air step's grain from ${air.grain.toFixed(2)} to about ${to!.toFixed(1)}`}`
      : `the performer has ${v.toFixed(2)} times the plate's grain: ${air !== null && air.grain > 0.1 ? `lower the air step's grain from ${air.grain.toFixed(2)} to about ${to!.toFixed(2)}, or ` : ''}soften the take's own grain first`;
  judge.add('grain', 'ratio', 'air', {
    value: v,
    worst: worstBy(list, (q) => Math.abs(Math.log2(Math.max(0.05, q)))),
    advice,
    off: bad ? (LIMITS.grain * Math.log(Math.max(0.05, v))) / Math.log(v < 1 ? low : high) : 0,
    needed: unseen
      ? 'too fine to be seen either way'
      : unsaid
        ? `at most ${high} of the plate's, read roughly; too little is not judged, as the plate's grain was not measured`
        : `${low.toFixed(2)} to ${high} of the plate's${list === sure ? '' : ', read roughly'}`,
  });
}
