/** Judges whether the take's own picture border cuts the performer (../edge/take-border.ts reads it). */
import { LIMITS } from '../limits.js';
import type { Series } from '../reader/series.js';
import { worstBy, type Judge } from './judging.js';

/** One frame is enough: a cut is seen at once. */
export function judgeTakeBorder(series: Series, judge: Judge): void {
  const list = series.readings.takeBorder ?? [];
  if (list.length === 0) {
    judge.none('takeBorder', 'share', 'ride', 'the recipe lays no take whose border could cut the performer');
    return;
  }
  const v = Math.max(...list.map((q) => q.value)),
    cut = list.filter((q) => q.value > LIMITS.takeBorder).length,
    often = cut > 1 ? `, on ${cut} of ${list.length} frames looked at` : '';
  judge.add('takeBorder', 'share', 'ride', {
    value: v,
    worst: worstBy(list, (q) => q),
    off: v,
    limit: LIMITS.takeBorder,
    advice:
      `the performer ends in a straight line where the take's own picture ends (${(100 * v).toFixed(0)} % of its ` +
      `height long${often}): stand it so that the line leaves the picture, mark what stands before it, ` +
      'choose another part of the take, or shoot it whole',
  });
}
