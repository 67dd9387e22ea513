/**
 * Judges chatter of the outline (../edge/chatter.ts reads it): the matte's own, the picture's beside its matte in
 * cells, and that of the whole outline.
 */
import type { PeelStep } from '../../join/performer-steps.js';
import { LIMITS, NEEDED, SEEN_CHATTER, WHOLE_CHATTER } from '../limits.js';
import type { Reading, Series } from '../reader/series.js';
import { mean, peelWayOut, stepOf, worstBy, type Judge } from './judging.js';

interface Kind {
  readonly list: readonly Reading[];
  readonly limit: number;
  readonly needed: string;
  readonly say: (v: number, worst: number) => string;
}

/** The worst of the three, each against its limit. */
export function judgeChatter(series: Series, judge: Judge): void {
  const read = kindsOf(series, mendOf(stepOf(judge.recipe, 'peel'))).filter((k) => k.list.length > 0);
  if (read.length === 0) {
    judge.none('chatter', 'alpha', 'peel', 'fewer than three frames');
    return;
  }
  const worst = read.reduce((a, b) => (mean(b.list) / b.limit > mean(a.list) / a.limit ? b : a)),
    v = mean(worst.list),
    at = worstBy(worst.list, (q) => q);
  judge.rows('chatter', worst.list);
  judge.add('chatter', 'alpha', 'peel', {
    value: v,
    worst: at,
    off: v,
    advice: worst.say(v, at),
    needed: worst.needed,
    limit: worst.limit,
    readings: worst.list,
  });
}

function mendOf(peel: PeelStep | null): string {
  const way = peelWayOut(peel);
  return peel?.method === 'screen' && peel.quality !== 'fast'
    ? `${way}, or light the screen more evenly and shoot again`
    : way;
}

function kindsOf(series: Series, mend: string): readonly Kind[] {
  return [
    {
      list: series.readings.chatter ?? [],
      limit: LIMITS.chatter,
      needed: NEEDED.chatter,
      say: (v, w) =>
        `pieces of the matte's outline go to and fro by ${v.toFixed(3)} of alpha from frame to frame, ` +
        `most about frame ${w}: ${mend}`,
    },
    {
      list: series.readings.seenChatter ?? [],
      limit: SEEN_CHATTER,
      needed: `at most ${SEEN_CHATTER} of alpha beside the matte`,
      say: (v, w) =>
        `pieces of the outline in the picture come and go by ${v.toFixed(2)} of alpha beside a calmer matte, ` +
        `most about frame ${w}: ${mend}, and render again`,
    },
    {
      list: series.readings.wholeChatter ?? [],
      limit: WHOLE_CHATTER,
      needed: `at most ${WHOLE_CHATTER} of alpha, the outline as a whole`,
      say: (v, w) =>
        `the whole outline in the picture breathes by ${v.toFixed(3)} of alpha from frame to frame beside a ` +
        `calmer matte, most about frame ${w}: ${mend}, and render again`,
    },
  ];
}
