/** Judges sharpness: beside the plate, beside the take through the recipe, and along one direction alone. */
import {
  ALONG,
  LIMITS,
  ONE_WAY,
  OTHER_SHARPEST,
  OTHER_SOFTEST,
  OWN_SHARPEST,
  OWN_SOFTEST,
  SHARPEST,
  TAKE_DOUBTS,
} from '../limits.js';
import type { Series } from '../reader/series.js';
import { mean, middle, ofMean, stepOf, values, worstBy, type Judge, type Told } from './judging.js';
import { isOwn } from './own-picture.js';

/**
 * Log of the reading that a blur of 1 px adds; it goes nearly with the blur's square below 1 px (measured,
 * bench/inspect-roc.ts).
 */
const PER_PX = 0.41;

/** Motion along one way first; else the plate's or the take's reading, whichever is farther over its own limits. */
export function judgeBlur(series: Series, judge: Judge): void {
  const softenPx = stepOf(judge.recipe, 'air')?.softenPx ?? 0,
    way = oneWay(series);
  if (way !== null) {
    judge.add('blur', 'ratio', 'ride', asMotion(series, way, stepOf(judge.recipe, 'ride')?.motionBlur ?? 0));
    return;
  }
  const take = besideTake(series, softenPx),
    alone = besidePlate(series, softenPx);
  // A dark or flat coat reads soft beside any plate: where the take says that nothing was softened or sharpened, the
  // plate must say it louder.
  const plate =
    alone !== null && !isOwn(series) && take !== null && Math.abs(take.off) < LIMITS.blur / 2
      ? { ...alone, off: alone.off / TAKE_DOUBTS }
      : alone;
  if (take !== null && (plate === null || take.off > Math.max(plate.off, LIMITS.blur))) {
    judge.rows('blur', series.readings.takeBlur ?? []);
    judge.add('blur', 'ratio', 'air', take);
  } else if (plate === null) judge.none('blur', 'ratio', 'air', 'too little contrast inside or outside');
  else judge.add('blur', 'ratio', 'air', plate);
}

/** A ratio's logarithm in parts of that from which it is too sharp or too soft, in the limit's measure. */
function scaled(v: number, least: number, most: number): number {
  return (LIMITS.blur * Math.log(v)) / Math.log(v < 1 ? least : most);
}

function besidePlate(series: Series, softenPx: number): Told | null {
  return ofMean(
    series,
    'blur',
    (v) => scaled(v, SHARPEST, 1 + LIMITS.blur),
    (v) => {
      const px = Math.sqrt(Math.abs(Math.log(v)) / PER_PX);
      return v < 1 ? sharperThanPlate(v, px, softenPx) : softerThanPlate(v, px, softenPx);
    },
  );
}

function sharperThanPlate(v: number, px: number, softenPx: number): string {
  const to = Math.min(4, Math.hypot(softenPx, px)).toFixed(1);
  return (
    `the performer is sharper than the plate (its fine detail is ${(1 / v).toFixed(2)} times as strong as it leads ` +
    `to expect): raise the air step's softening from ${softenPx.toFixed(1)} to about ${to} px, ` +
    'and see that the take was not sharpened by the camera'
  );
}

function softerThanPlate(v: number, px: number, softenPx: number): string {
  const to = Math.sqrt(Math.max(0, softenPx * softenPx - px * px)).toFixed(1),
    wayOut =
      softenPx > 0.2
        ? `lower the air step's softening from ${softenPx.toFixed(1)} to about ${to} px`
        : 'the take is softer than the plate; shoot again in focus or nearer';
  return (
    `the performer is softer than the plate (its fine detail is ${(1 / v).toFixed(2)} of what it leads to expect), ` +
    `as by a blur of about ${px.toFixed(1)} px: ${wayOut}`
  );
}

function besideTake(series: Series, softenPx: number): Told | null {
  const list = series.readings.takeBlur ?? [],
    own = isOwn(series),
    [least, most] = own ? [OWN_SHARPEST, OWN_SOFTEST] : [OTHER_SHARPEST, OTHER_SOFTEST];
  if (list.length === 0) return null;
  const v = mean(list);
  return {
    value: v,
    worst: worstBy(list, (q) => scaled(q, least, most)),
    off: scaled(v, least, most),
    needed: `${least.toFixed(2)} to ${most.toFixed(2)} of the take's own through the recipe`,
    advice: unlikeTake(v, own, softenPx),
  };
}

function unlikeTake(v: number, own: boolean, softenPx: number): string {
  const detail = (1 / v).toFixed(2),
    how =
      v < 1
        ? `sharper than the take through the recipe (its fine detail is ${detail} times as strong): ` +
          'something sharpened it after the join'
        : `softer than the take through the recipe (its fine detail is ${detail} of it): ` +
          `something softened it after the join, or the air step's softening (${softenPx.toFixed(1)} px now) was ` +
          'lowered since';
  return (
    `${own ? '' : 'the picture is not what this recipe renders now, and '}the performer is ${how}; ` +
    `render again from this recipe, and ${v < 1 ? 'sharpen' : 'scale'} nothing afterwards`
  );
}

interface OneWay {
  /** What is left of fine slopes along the direction. */
  readonly along: number;
  readonly deg: number;
}

/**
 * Of the recipe's own picture: what is left of fine slopes along one direction, where much more is left square to it;
 * else null.
 */
function oneWay(series: Series): OneWay | null {
  const along = middle(values(series.readings.softAlong)),
    across = middle(values(series.readings.softAcross));
  return isOwn(series) && along < ALONG && along < ONE_WAY * across
    ? { along, deg: middle(values(series.readings.softDeg)) }
    : null;
}

function asMotion(series: Series, { along, deg }: OneWay, motionBlur: number): Told {
  const list = series.readings.softAlong!;
  return {
    value: along,
    worst: worstBy(list, (q) => -q),
    off: (LIMITS.blur * Math.log(Math.max(0.02, along))) / Math.log(ALONG),
    readings: list,
    needed: `from ${ALONG} of the slopes that the recipe renders, along every direction`,
    advice:
      `the performer is softer along one direction alone, ${deg.toFixed(0)}° from the horizontal, ` +
      `as by motion and not by the lens: the ride's motion blur (${motionBlur.toFixed(2)} now) was laid on twice ` +
      'or too long; render again',
  };
}
