/** Judges the performer's brightness beside the take through the recipe (../light/against-light.ts reads it). */
import { LIMITS, OWN_EXPOSURE } from '../limits.js';
import type { Series } from '../reader/series.js';
import { middle, stepOf, triple, values, worstBy, type Judge } from './judging.js';
import { isOwn, NO_TAKE } from './own-picture.js';

/** Adds `exposure`: stops over the take through the recipe (negative: under it), the middle of all frames. */
export function judgeExposure(series: Series, judge: Judge): void {
  const list = series.readings.exposure ?? [];
  if (list.length === 0) {
    judge.none('exposure', 'stops', 'light', NO_TAKE);
    return;
  }
  const v = middle(values(list)),
    own = isOwn(series),
    limit = own ? OWN_EXPOSURE : LIMITS.exposure;
  judge.add('exposure', 'stops', 'light', {
    value: v,
    worst: worstBy(list, Math.abs),
    off: Math.abs(v),
    limit,
    needed: `within ${limit} stop of the take through the recipe`,
    ...(own
      ? {
          untold:
            'it is as bright as this recipe makes it, but no picture tells for sure how bright it would stand there: ' +
            "a light step half a stop wrong passes; the floor card in the take would tell the take's own exposure",
        }
      : {}),
    advice: advice(v, own, stepOf(judge.recipe, 'light')?.slope ?? [1, 1, 1]),
  });
}

function advice(stops: number, own: boolean, slope: readonly number[]): string {
  const wayOut = own
    ? 'something changed it after the join, so render again'
    : `render again from this recipe, or set the slope to about ${triple(slope.map((s) => s * 2 ** stops))} if ` +
      'this is meant';
  return (
    `the performer is ${Math.abs(stops).toFixed(1)} stops ${stops > 0 ? 'brighter' : 'darker'} than the take under ` +
    `this recipe's light step (slope ${triple(slope)}): ${wayOut}`
  );
}
