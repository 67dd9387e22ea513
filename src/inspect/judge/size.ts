/** Judges how large the performer is beside what the ride makes it. */
import { LIMITS, OWN_SIZE } from '../limits.js';
import type { Series } from '../reader/series.js';
import { middle, values, worstBy, type Judge } from './judging.js';
import { isOwn, NO_TAKE } from './own-picture.js';

/** Adds `size`: the performer's size over what the ride makes it, 1 as large. */
export function judgeSize(series: Series, judge: Judge): void {
  const list = series.readings.size ?? [];
  if (list.length === 0) {
    const untold = (series.readings.exposure ?? []).length === 0;
    judge.none(
      'size',
      'ratio',
      'ride',
      untold ? NO_TAKE : 'the performer is cut by the picture or by what stands in front',
    );
    return;
  }
  const v = middle(values(list)),
    limit = isOwn(series) ? OWN_SIZE : LIMITS.size;
  judge.add('size', 'ratio', 'ride', {
    value: v,
    worst: worstBy(list, (q) => Math.abs(q - 1)),
    off: Math.abs(v - 1),
    limit,
    needed: `within ${(100 * limit).toFixed(0)} % of the recipe's`,
    untold:
      "it is as large and stands where this recipe's ride puts it; whether that is right no picture tells: compare it " +
      "with what stands beside it, and its feet with its shadow (the stand's mark and the performer's height decide)",
    advice:
      `the performer is ${Math.abs(100 * (v - 1)).toFixed(0)} % ${v > 1 ? 'larger' : 'smaller'} than the ride puts ` +
      `it: render again from this recipe, or mark the stand's top where it should be`,
  });
}
