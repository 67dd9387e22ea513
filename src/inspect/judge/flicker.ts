/** Judges brightness of the performer that goes up and down from frame to frame (../level.ts reads it). */
import { outAndBack } from '../level.js';
import type { Series } from '../series.js';
import type { Judge } from './judging.js';

/** Beside its own neighbours, and beside the plate's going out and back too: the less counts, as a lamp that flickers in the set lights both. */
export function judgeFlicker(series: Series, judge: Judge): void {
  const l = series.levels;
  if (l.length < 5) {
    judge.none('flicker', 'stops', 'light', 'fewer than five frames show enough of the performer');
    return;
  }
  const alone = outAndBack(l.map((q) => q.inside)),
    beside = outAndBack(l.map((q) => q.inside - q.plate)),
    read = alone.rms <= beside.rms ? alone : beside,
    frame = l[read.at]!.frame;
  const jumps = l
    .slice(1, -1)
    .map((q, k) => ({ frame: q.frame, value: Math.abs(q.inside - (l[k]!.inside + l[k + 2]!.inside) / 2) }));
  judge.rows('flicker', jumps);
  judge.add('flicker', 'stops', 'light', {
    value: read.rms,
    worst: frame,
    off: read.rms,
    advice: `the performer's brightness goes up and down by ${read.rms.toFixed(2)} stop rms from frame to frame, most about frame ${frame}: lock the take's exposure and shoot again, or render again where the take itself is steady`,
  });
}
