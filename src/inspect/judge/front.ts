/**
 * Judges whether what passes before the performer cuts it where the plate has an edge (../edge/front-cut.ts reads it).
 */
import { wrongCuts, type WrongCut } from '../edge/front-cut.js';
import { quantile } from '../reader/frame.js';
import { LIMITS } from '../limits.js';
import type { Reading, Series } from '../reader/series.js';
import { stepOf, type Judge } from './judging.js';

/**
 * The value under which so many of a thing's frames lie counts: one frame in seven may be misread, and a drift shows on
 * more.
 */
const SHARE = 0.85;
/** Frames without which a thing is not judged. */
const LEAST = 3;
/** Half the side of the box that shows a wrong cut, px. */
const BOX = 24;
/** Frames named at most. */
const NAMED = 6;

/**
 * Adds `front`: pixels from the edge of what passes to where the performer is cut, of the thing that is farthest off.
 */
export function judgeFront(series: Series, judge: Judge): void {
  const step = stepOf(judge.recipe, 'front'),
    more = (step?.also ?? []).length > 0;
  if (step === null || (step.region === null && !more)) {
    judge.none('front', 'px', 'front', 'nothing passes before the performer');
    return;
  }
  const things = thingsOf(series).map((list) => ({ list, off: offOf(list) }));
  if (things.length === 0) {
    judge.none(
      'front',
      'px',
      'front',
      series.cuts.length === 0
        ? 'what passes does not cut the performer on the frames looked at'
        : 'the plate shows no edge of what passes where the performer is cut',
    );
    return;
  }
  const worst = things.reduce((a, b) => (b.off > a.off ? b : a)),
    at = worst.list.reduce((a, b) => (b.offPx > a.offPx ? b : a)),
    readings = worst.list.map(readingOf);
  judge.rows('front', readings);
  judge.add('front', 'px', 'front', {
    value: worst.off,
    off: worst.off,
    worst: at.frame,
    readings,
    advice: advice(worst.list, at, things.length > 1 || more),
  });
}

/** Cuts of each thing that shows on enough frames. */
function thingsOf(series: Series): WrongCut[][] {
  const things = new Map<number, WrongCut[]>();
  for (const c of wrongCuts(series.cuts)) (things.get(c.thing) ?? things.set(c.thing, []).get(c.thing)!).push(c);
  return [...things.values()].filter((l) => l.length >= LEAST);
}

function offOf(list: readonly WrongCut[]): number {
  return quantile(
    list.map((c) => c.offPx),
    SHARE,
  );
}

function readingOf({ frame, offPx, at: [x, y] }: WrongCut): Reading {
  return {
    frame,
    value: offPx,
    box: [Math.max(0, Math.round(x - BOX)), Math.max(0, Math.round(y - BOX)), Math.round(x + BOX), Math.round(y + BOX)],
  };
}

/** `several`: more than one thing passes, so it is numbered. */
function advice(list: readonly WrongCut[], at: WrongCut, several: boolean): string {
  const where = at.beside
      ? `${at.offPx.toFixed(1)} px beside the plate's own edge of`
      : 'where the plate shows no edge of',
    thing = several ? `thing ${at.thing + 1} that passes` : 'what passes';
  return (
    `on frame ${at.frame} the performer is cut ${where} ${thing} (${framesOff(list)}): ` +
    'outline it on that frame too (front mark) and propose the front step again'
  );
}

function framesOff(list: readonly WrongCut[]): string {
  const over = list.filter((c) => c.offPx > LIMITS.front).map((c) => c.frame);
  if (over.length === list.length) return 'on all frames looked at';
  return `off on frames ${over.slice(0, NAMED).join(', ')}${over.length > NAMED ? ', …' : ''}`;
}
