/** Judges from which side the performer looks lit, against the plate's key (../light/key-side.ts reads it). */
import { quantile } from '../reader/frame.js';
import { LIMITS, UNLIKE } from '../limits.js';
import type { Series } from '../reader/series.js';
import { clock, mean, middle, stepOf, turnedByHand, values, worstBy, type Judge } from './judging.js';

type Way = readonly [number, number];

/** Within this of the key, mirrored left to right, mirroring the take puts it right. */
const MIRRORED_DEG = 40;
/** Of a relight that is nearly whole there is no more. */
const WHOLE_RELIGHT = 0.95;

/** Adds `light`: degrees between the side from which the performer looks lit and the plate's key. */
export function judgeLight(series: Series, judge: Judge): void {
  const list = series.readings.light ?? [];
  if (list.length === 0) {
    const noKey = stepOf(judge.recipe, 'ground') === null;
    judge.none(
      'light',
      'deg',
      'light',
      noKey ? 'the recipe knows no key: its ground step is off or absent' : "the performer's shading shows no side",
    );
    return;
  }
  const v = mean(list),
    sure = quantile(values(series.readings.lightUnlike), 0.5) > UNLIKE;
  judge.add('light', 'deg', 'light', {
    value: v,
    worst: worstBy(list, (q) => q),
    off: sure ? v : Math.min(v, LIMITS.light),
    advice: advice(series, judge, v),
  });
}

function advice(series: Series, judge: Judge, off: number): string {
  const from = middleWay(series, 'from'),
    key = middleWay(series, 'key'),
    relight = stepOf(judge.recipe, 'light')?.relight;
  const turned = turnedByHand(stepOf(judge.recipe, 'ground'));
  const mirror = mirrors(from, key) ? 'mirror the take in the ride, which puts it right, or ' : '',
    further =
      relight !== undefined && relight.strength < WHOLE_RELIGHT
        ? `relight further (strength ${relight.strength.toFixed(2)} now), or `
        : '';
  return (
    `the performer looks lit from ${clock(...from)} in the picture, the plate's key stands at ${clock(...key)}, ` +
    `${off.toFixed(0)}° from it: ${turned === null ? '' : `${turned}; set it back, or `}${mirror}${further}shoot again with the lamp on that side`
  );
}

function middleWay(series: Series, pick: 'from' | 'key'): Way {
  return [middle(series.sides.map((s) => s[pick][0])), middle(series.sides.map((s) => s[pick][1]))];
}

function mirrors(from: Way, key: Way): boolean {
  const cos = (-from[0] * key[0] + from[1] * key[1]) / Math.max(1e-9, Math.hypot(...from) * Math.hypot(...key));
  return cos > Math.cos((MIRRORED_DEG * Math.PI) / 180);
}
