/**
 * Judges the grain of the recipe's own picture: whether the very draw that the recipe lays stands there, and not more
 * than it and an encoder make (../texture/grain-beside.ts).
 */
import type { AirStep } from '../../join/types.js';
import {
  ENCODER_DROWNS,
  ENCODER_NONE,
  GRAIN_LEFT,
  LIMITS,
  OWN_GRAIN_LEAST,
  OWN_GRAIN_MOST,
  OWN_GRAIN_UNSEEN,
} from '../limits.js';
import type { Series } from '../reader/series.js';
import { middle, stepOf, values, worstBy, type Judge, type Told } from './judging.js';
import { isOwn } from './own-picture.js';

/** False where it is another picture, or no grain is asked. */
export function judgeOwnGrain(series: Series, judge: Judge): boolean {
  if (!isOwn(series) || (series.readings.grainBeside ?? []).length === 0) return false;
  const air = stepOf(judge.recipe, 'air');
  judge.add('grain', 'ratio', 'air', tooLittle(series, air) ?? tooMuch(series, air) ?? right(series));
  return true;
}

/** sd of the grain that the recipe lays, in the halved picture. */
const askedOf = (series: Series): number => middle(values(series.readings.grainAsked));

/** Encoder's noise in parts of it. */
function encoderOf(series: Series): number {
  return middle(values(series.readings.grainEncoder)) / Math.max(1e-6, askedOf(series));
}

/**
 * Least share of the draw. Whole where no encoder was at work; what one of fair quality leaves of fine grain is a
 * quarter and more; under a poor one nothing can be told.
 */
function leastOf(series: Series): number {
  const encoder = encoderOf(series);
  return encoder < ENCODER_NONE ? OWN_GRAIN_LEAST : encoder < ENCODER_DROWNS ? GRAIN_LEFT : 0;
}

function tooLittle(series: Series, air: AirStep | null): Told | null {
  const list = series.readings.grainSlope ?? [],
    slope = middle(values(list)),
    // As much of the draw as may stand there by the slope's own error.
    most = slope + 2 * middle(values(series.readings.grainSlopeSd)),
    least = leastOf(series);
  if (!(most < least && askedOf(series) > OWN_GRAIN_UNSEEN)) return null;
  const encoded = encoderOf(series) < ENCODER_NONE ? '' : ', as an encoder leaves it';
  return {
    value: Math.max(0, slope),
    worst: worstBy(list, (q) => -q),
    off: (LIMITS.grain * Math.log(Math.max(0.02, most))) / Math.log(least),
    readings: list,
    needed: `from ${least} of the grain that the recipe lays${encoded}`,
    advice:
      `${(100 * Math.max(0, slope)).toFixed(0)} % of the grain that would match the plate's is on the performer: ` +
      `${wayOut(air)}`,
  };
}

function tooMuch(series: Series, air: AirStep | null): Told | null {
  const list = series.readings.grainBeside ?? [],
    v = middle(values(list));
  if (!(v > OWN_GRAIN_MOST && (v - 1) * askedOf(series) > OWN_GRAIN_UNSEEN)) return null;
  return {
    value: v,
    worst: worstBy(list, (q) => q),
    off: (LIMITS.grain * Math.log(v)) / Math.log(OWN_GRAIN_MOST),
    readings: list,
    needed: `at most ${OWN_GRAIN_MOST} of what the plate's grain and an encoder make together`,
    advice: `the performer has ${v.toFixed(2)} times the grain that the plate has and its file adds: ${wayOut(air)}`,
  };
}

function wayOut(air: AirStep | null): string {
  if (air === null) return 'switch the air step on';
  return Math.abs(air.grain - 1) > 0.2
    ? `set the air step's grain from ${air.grain.toFixed(2)} to 1`
    : 'something took it off or added to it after the join, so the file is not what this recipe renders; render again';
}

/** The draw itself was looked for: a quiet plate beside a furred body tells nothing against that. */
function right(series: Series): Told {
  const list = series.readings.grainBeside ?? [],
    least = leastOf(series),
    little =
      least > 0
        ? `from ${least} of the grain that the recipe lays`
        : 'too little is not judged, as its encoder hides it';
  return {
    value: middle(values(list)),
    worst: worstBy(list, (q) => Math.abs(Math.log2(Math.max(0.02, q)))),
    off: 0,
    readings: list,
    advice: '',
    needed: `at most ${OWN_GRAIN_MOST} of what the plate's grain and an encoder make together; ${little}`,
  };
}
