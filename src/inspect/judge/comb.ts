/** Judges rows woven of two moments (../edge/comb.ts reads them). */
import { LIMITS } from '../limits.js';
import type { Reading, Series } from '../reader/series.js';
import { middle, values, worstBy, type Judge } from './judging.js';

/** Beside the performer and in it, the worse of the two. */
export function judgeComb(series: Series, judge: Judge): void {
  const beside = series.readings.comb ?? [],
    inside = series.readings.combInside ?? [];
  if (beside.length === 0 && inside.length === 0) {
    judge.none('comb', 'share', 'render', 'nothing moves enough for rows of two moments to be told');
    return;
  }
  const of = (list: readonly Reading[]): number => (list.length === 0 ? 0 : middle(values(list))),
    a = of(beside),
    b = of(inside),
    performerAlone = b > a && a < LIMITS.comb,
    v = performerAlone ? b : a,
    list = performerAlone || beside.length === 0 ? inside : beside;
  judge.add('comb', 'share', 'render', {
    value: v,
    worst: worstBy(list, (q) => q),
    off: v,
    readings: list,
    advice: advice(v, performerAlone),
  });
}

function advice(v: number, performerAlone: boolean): string {
  const wayOut = performerAlone
    ? 'only the performer is torn, so its take was interlaced; give the take its frames whole'
    : 'write the file again as whole frames, not interlaced';
  return (
    'rows of two moments are woven into one frame (where the picture moves they stand apart by ' +
    `${(100 * v).toFixed(0)} % of what it changes from frame to frame): ${wayOut}`
  );
}
