/** Judges whether what passes before the performer cuts it where the plate has an edge. */
import type { CutReading, WrongCut } from './front-cut.js';
import { wrongCuts } from './front-cut.js';
import { quantile } from './frame.js';
import { stepOf, type Judge } from './judging.js';
import { LIMITS } from './limits.js';
import type { Series } from './series.js';

/** The value under which so many of a thing's frames lie counts: one frame in seven may be misread, and a drift shows on more. */
const SHARE = 0.85;
/** Frames without which a thing is not judged. */
const LEAST = 3;

export function judgeFront(series: Series, judge: Judge): void {
  const step = stepOf(judge.recipe, 'front');
  if (step === null || (step.region === null && (step.also ?? []).length === 0)) {
    judge.none('front', 'px', 'front', 'nothing passes before the performer');
    return;
  }
  const things = new Map<number, WrongCut[]>(),
    cuts: readonly CutReading[] = series.cuts;
  for (const c of wrongCuts(cuts)) (things.get(c.thing) ?? things.set(c.thing, []).get(c.thing)!).push(c);
  const read = [...things.values()]
    .filter((l) => l.length >= LEAST)
    .map((list) => ({
      list,
      off: quantile(
        list.map((c) => c.offPx),
        SHARE,
      ),
    }));
  if (read.length === 0) {
    judge.none(
      'front',
      'px',
      'front',
      cuts.length === 0
        ? 'what passes does not cut the performer on the frames looked at'
        : 'the plate shows no edge of what passes where the performer is cut',
    );
    return;
  }
  const worst = read.reduce((a, b) => (b.off > a.off ? b : a)),
    at = worst.list.reduce((a, b) => (b.offPx > a.offPx ? b : a)),
    over = worst.list.filter((c) => c.offPx > LIMITS.front).map((c) => c.frame);
  const size = 24,
    readings = worst.list.map((c) => ({
      frame: c.frame,
      value: c.offPx,
      box: [
        Math.max(0, Math.round(c.at[0] - size)),
        Math.max(0, Math.round(c.at[1] - size)),
        Math.round(c.at[0] + size),
        Math.round(c.at[1] + size),
      ] as const,
    }));
  judge.rows('front', readings);
  judge.add('front', 'px', 'front', {
    value: worst.off,
    off: worst.off,
    worst: at.frame,
    readings,
    advice: `on frame ${at.frame} the performer is cut ${at.beside ? `${at.offPx.toFixed(1)} px beside the plate's own edge of` : 'where the plate shows no edge of'} ${read.length > 1 || (step.also ?? []).length > 0 ? `thing ${at.thing + 1} that passes` : 'what passes'} (${over.length === worst.list.length ? 'on all frames looked at' : `off on frames ${over.slice(0, 6).join(', ')}${over.length > 6 ? ', …' : ''}`}): outline it on that frame too (front mark) and propose the front step again`,
  });
}
