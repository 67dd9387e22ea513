/**
 * Judges grain: of the recipe's own picture by its very draw (own-grain.ts), of any other by single pictures and by
 * what changes from frame to frame (../texture/texture.ts reads it).
 */
import type { AirStep } from '../../join/types.js';
import { quantile } from '../reader/frame.js';
import { LIMITS, ROUGH_LEAST, ROUGH_MOST, ROUGH_MOVING, STEADY, SURE_MOST, UNSEEN, UNSEEN_ROUGH } from '../limits.js';
import type { Reading, Series } from '../reader/series.js';
import { stepOf, values, worstBy, type Judge } from './judging.js';
import { judgeOwnGrain } from './own-grain.js';

/** Sure readings from which rough ones are not heard. */
const SURE_READINGS = 2;

/** Adds `grain`: the performer's grain over the plate's, 1 as grainy. */
export function judgeGrain(series: Series, judge: Judge): void {
  if (judgeOwnGrain(series, judge)) return;
  const surely = series.readings.grain ?? [],
    sure = surely.length >= SURE_READINGS,
    list = sure ? surely : (series.readings.roughGrain ?? []);
  if (list.length === 0) {
    judge.none('grain', 'ratio', 'air', 'too little flat picture inside or outside the performer');
    return;
  }
  const v = quantile(values(list), 0.5),
    [low, high] = rangeOf(series, sure),
    unseen = isUnseen(v, series, sure);
  // The quietest blocks of a plate are at most its grain and maybe gravel: without its measure too little can't be
  // told.
  const unsaid = !sure && (stepOf(judge.recipe, 'air')?.plateGrain?.table.length ?? 0) === 0,
    bad = !unseen && ((v < low && !unsaid) || v > high);
  judge.add('grain', 'ratio', 'air', {
    value: v,
    worst: worstBy(list, (q) => Math.abs(Math.log2(Math.max(0.05, q)))),
    advice: advice(v, stepOf(judge.recipe, 'air')),
    off: bad ? (LIMITS.grain * Math.log(Math.max(0.05, v))) / Math.log(v < 1 ? low : high) : 0,
    needed: unseen ? 'too fine to be seen either way' : neededOf(low, high, sure, unsaid),
  });
}

/** Least and most of the plate's grain. */
function rangeOf(series: Series, sure: boolean): readonly [number, number] {
  if (sure) return [1 - LIMITS.grain, SURE_MOST];
  return [ROUGH_LEAST, quantile(series.steps, 0.5) > STEADY ? ROUGH_MOVING : ROUGH_MOST];
}

/** Whether the difference is finer than is seen. */
function isUnseen(v: number, series: Series, sure: boolean): boolean {
  const outside: readonly Reading[] = (sure ? series.readings.grainOutside : series.readings.roughOutside) ?? [],
    least = sure || v > 1 ? UNSEEN : UNSEEN_ROUGH;
  return outside.length > 0 && Math.abs(v - 1) * quantile(values(outside), 0.5) < least;
}

function neededOf(low: number, high: number, sure: boolean, unsaid: boolean): string {
  return unsaid
    ? `at most ${high} of the plate's, read roughly; too little is not judged, as the plate's grain was not measured`
    : `${low.toFixed(2)} to ${high} of the plate's${sure ? '' : ', read roughly'}`;
}

/** Most grain that is advised, and least that is taken for what stands there. */
const MOST_GRAIN = 3,
  LEAST_GRAIN = 0.05;

function advice(v: number, air: AirStep | null): string {
  const to = air === null ? 0 : Math.min(MOST_GRAIN, Math.max(LEAST_GRAIN, air.grain) / Math.max(0.1, v));
  return v < 1 ? tooLittle(v, air, to) : tooMuch(v, air, to);
}

function tooLittle(v: number, air: AirStep | null, to: number): string {
  const wayOut =
    air === null
      ? 'switch the air step on'
      : air.plateGrain === null
        ? "the plate's grain was not measured; measure it, or give the air step one"
        : `raise the air step's grain from ${air.grain.toFixed(2)} to about ${to.toFixed(1)}`;
  return `the performer has ${v.toFixed(2)} of the plate's grain: ${wayOut}`;
}

function tooMuch(v: number, air: AirStep | null, to: number): string {
  const lower =
    air !== null && air.grain > 0.1
      ? `lower the air step's grain from ${air.grain.toFixed(2)} to about ${to.toFixed(2)}, or `
      : '';
  return `the performer has ${v.toFixed(2)} times the plate's grain: ${lower}soften the take's own grain first`;
}
