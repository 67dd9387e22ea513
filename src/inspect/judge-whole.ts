/** Judges what concerns the whole picture or its making: what lies beside the performer, a comb of two moments, flicker. */
import { mean, middle, worstBy, type Judge } from './judging.js';
import { LIMITS, OUTSIDE_PART } from './limits.js';
import { outAndBack } from './level.js';
import type { OutsideFault } from './outside.js';
import type { Reading, Series } from './series.js';

const SAID: Readonly<Record<Exclude<OutsideFault, 'exposure' | 'other'>, string>> = {
  squeezed:
    'its levels are squeezed into the range of video (16 to 235) once more than they should be: write the file again and have its range told',
  stretched:
    "its levels are stretched as if they were of video's range (16 to 235) and were not, so blacks and whites are cut: write the file again and have its range told",
  'as 601':
    'its colours are those of BT.709 read with the weights of BT.601: write the file again and have its colour matrix told as BT.709',
  'as 709':
    'its colours are those of BT.601 read with the weights of BT.709: write the file again and have its colour matrix told as it is',
};

export function judgeOutside(series: Series, judge: Judge): void {
  const list = series.readings.outside ?? [],
    parts = series.readings.outsidePart ?? [];
  if (list.length === 0) {
    judge.none(
      'outside',
      'coded',
      'render',
      'the performer fills the picture, or the plate was mended and its mended frames are not at hand',
    );
    return;
  }
  const change = mean(list),
    part = mean(parts),
    counts = new Map<OutsideFault, number>();
  for (const f of series.outsideFaults) counts.set(f.fault, (counts.get(f.fault) ?? 0) + 1);
  const [fault, often] = [...counts].sort((a, b) => b[1] - a[1])[0] ?? ['other', 0];
  const known = fault !== 'other' && often > 0.6 * series.outsideFaults.length && part > OUTSIDE_PART,
    stops = middle(series.outsideFaults.map((f) => f.stops));
  const v = known ? part : change,
    limit = known ? OUTSIDE_PART : LIMITS.outside;
  judge.add('outside', 'coded', 'render', {
    value: v,
    worst: worstBy(list, (q) => q),
    off: v,
    limit,
    ...(known ? { needed: `at most ${OUTSIDE_PART} of the coded range of a known change` } : {}),
    advice: `the picture beside the performer is not the plate's (${(100 * v).toFixed(1)} % of the range off): ${known && fault !== 'exposure' ? SAID[fault as keyof typeof SAID] : known ? `it is ${Math.abs(stops).toFixed(2)} stop ${stops > 0 ? 'brighter' : 'darker'} as a whole: something graded it after the join; render again` : 'something changed the whole picture after the join, or it was rendered from another plate; render again'}`,
  });
}

/** One frame is enough: a cut is seen at once. */
export function judgeTakeBorder(series: Series, judge: Judge): void {
  const list = series.readings.takeBorder ?? [];
  if (list.length === 0) {
    judge.none('takeBorder', 'share', 'ride', 'the recipe lays no take whose border could cut the performer');
    return;
  }
  const v = Math.max(...list.map((q) => q.value)),
    frames = list.filter((q) => q.value > LIMITS.takeBorder).length;
  judge.add('takeBorder', 'share', 'ride', {
    value: v,
    worst: worstBy(list, (q) => q),
    off: v,
    limit: LIMITS.takeBorder,
    advice: `the performer ends in a straight line where the take's own picture ends (${(100 * v).toFixed(0)} % of its height long${frames > 1 ? `, on ${frames} of ${list.length} frames looked at` : ''}): stand it so that the line leaves the picture, mark what stands before it, choose another part of the take, or shoot it whole`,
  });
}

export function judgeComb(series: Series, judge: Judge): void {
  const out = series.readings.comb ?? [],
    inside = series.readings.combInside ?? [];
  if (out.length === 0 && inside.length === 0) {
    judge.none('comb', 'share', 'render', 'nothing moves enough for rows of two moments to be told');
    return;
  }
  const of = (list: readonly Reading[]): number => (list.length === 0 ? 0 : middle(list.map((q) => q.value))),
    a = of(out),
    b = of(inside),
    own = b > a && a < LIMITS.comb,
    v = own ? b : a;
  judge.add('comb', 'share', 'render', {
    value: v,
    worst: worstBy(own || out.length === 0 ? inside : out, (q) => q),
    off: v,
    readings: own || out.length === 0 ? inside : out,
    advice: `rows of two moments are woven into one frame (where the picture moves they stand apart by ${(100 * v).toFixed(0)} % of what it changes from frame to frame): ${own ? 'only the performer is torn, so its take was interlaced; give the take its frames whole' : 'write the file again as whole frames, not interlaced'}`,
  });
}

/** Beside its own neighbours, and beside the plate's going out and back too: the less counts, as a lamp that flickers in the set lights both. */
export function judgeFlicker(series: Series, judge: Judge): void {
  const l = series.levels;
  if (l.length < 5) {
    judge.none('flicker', 'stops', 'light', 'fewer than five frames show enough of the performer');
    return;
  }
  const alone = outAndBack(l.map((q) => q.inside)),
    beside = outAndBack(l.map((q) => q.inside - q.plate)),
    read = alone.rms <= beside.rms ? alone : beside;
  judge.rows(
    'flicker',
    l
      .slice(1, -1)
      .map((q, k) => ({ frame: q.frame, value: Math.abs(q.inside - (l[k]!.inside + l[k + 2]!.inside) / 2) })),
  );
  judge.add('flicker', 'stops', 'light', {
    value: read.rms,
    worst: l[read.at]!.frame,
    off: read.rms,
    advice: `the performer's brightness goes up and down by ${read.rms.toFixed(2)} stop rms from frame to frame, most about frame ${l[read.at]!.frame}: lock the take's exposure and shoot again, or render again where the take itself is steady`,
  });
}
