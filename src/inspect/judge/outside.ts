/**
 * Judges whether the picture beside the performer is still the plate's, and names known ways in which a file's making
 * changes it (../reader/outside.ts reads it).
 */
import { LIMITS, OUTSIDE_PART } from '../limits.js';
import type { OutsideFault } from '../reader/outside.js';
import type { Series } from '../reader/series.js';
import { mean, middle, worstBy, type Judge } from './judging.js';

const SAID: Readonly<Record<Exclude<OutsideFault, 'exposure' | 'other'>, string>> = {
  squeezed:
    'its levels are squeezed into the range of video (16 to 235) once more than they should be: ' +
    'write the file again and have its range told',
  stretched:
    "its levels are stretched as if they were of video's range (16 to 235) and were not, " +
    'so blacks and whites are cut: write the file again and have its range told',
  'as 601':
    'its colours are those of BT.709 read with the weights of BT.601: ' +
    'write the file again and have its colour matrix told as BT.709',
  'as 709':
    'its colours are those of BT.601 read with the weights of BT.709: ' +
    'write the file again and have its colour matrix told as it is',
};

/** Share of the frames that must show the same known fault. */
const MOST_FRAMES = 0.6;

/**
 * Adds `outside`: mean difference from the plate beside the performer, as a share of the coded range; of a known
 * change, its part alone.
 */
export function judgeOutside(series: Series, judge: Judge): void {
  const list = series.readings.outside ?? [];
  if (list.length === 0) {
    judge.none(
      'outside',
      'coded',
      'render',
      'the performer fills the picture, or the plate was mended and its mended frames are not at hand',
    );
    return;
  }
  const part = mean(series.readings.outsidePart ?? []),
    fault = part > OUTSIDE_PART ? usualFault(series) : null,
    [v, limit] = fault === null ? [mean(list), LIMITS.outside] : [part, OUTSIDE_PART];
  judge.add('outside', 'coded', 'render', {
    value: v,
    worst: worstBy(list, (q) => q),
    off: v,
    limit,
    ...(fault === null ? {} : { needed: `at most ${OUTSIDE_PART} of the coded range of a known change` }),
    advice:
      `the picture beside the performer is not the plate's (${(100 * v).toFixed(1)} % of the range off): ` +
      `${saidOf(series, fault)}`,
  });
}

/** The known fault that most frames show; null where they show none, or not the same. */
function usualFault(series: Series): Exclude<OutsideFault, 'other'> | null {
  const counts = new Map<OutsideFault, number>();
  for (const f of series.outsideFaults) counts.set(f.fault, (counts.get(f.fault) ?? 0) + 1);
  const [fault, often] = [...counts].sort((a, b) => b[1] - a[1])[0] ?? ['other', 0];
  return fault !== 'other' && often > MOST_FRAMES * series.outsideFaults.length ? fault : null;
}

function saidOf(series: Series, fault: Exclude<OutsideFault, 'other'> | null): string {
  if (fault === null)
    return 'something changed the whole picture after the join, or it was rendered from another plate; render again';
  if (fault !== 'exposure') return SAID[fault];
  const stops = middle(series.outsideFaults.map((f) => f.stops));
  return (
    `it is ${Math.abs(stops).toFixed(2)} stop ${stops > 0 ? 'brighter' : 'darker'} as a whole: ` +
    'something graded it after the join; render again'
  );
}
