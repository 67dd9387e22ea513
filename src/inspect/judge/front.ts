/**
 * Judges whether what passes before the performer cuts it where the plate has an edge (../edge/front-cut.ts reads it).
 */
import { wrongCuts, type WrongCut } from '../edge/front-cut.js';
import { quantile } from '../reader/frame.js';
import { LIMITS } from '../limits.js';
import type { Reading, Series } from '../reader/series.js';
import { stepOf, values, worstBy, type Judge } from './judging.js';

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
 * Adds `front`: pixels from the edge of what passes to where the performer is cut, of the thing that is farthest off;
 * or pixels by which the performer lies over what stands nearer.
 */
export function judgeFront(series: Series, judge: Judge): void {
  const step = stepOf(judge.recipe, 'front'),
    more = (step?.also ?? []).length > 0;
  if (judgeNearer(series, judge)) return;
  if (step === null || (step.region === null && !more)) {
    judge.none(
      'front',
      'px',
      'front',
      'no mark says that anything passes before the performer' +
        ((series.readings.nearer ?? []).length === 0
          ? ', and whether something stands nearer is not told: look whether anything should hide it'
          : ', and no upright of the plate proves to stand nearer; what is low, slanted or faint, or ends above the ' +
            'foot, is not told: look whether anything should hide it'),
    );
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

/**
 * Where the performer lies over uprights of the plate that stand nearer (../edge/nearer-upright.ts), on so many frames
 * that none is taken for chance. True where it was judged so.
 */
function judgeNearer(series: Series, judge: Judge): boolean {
  const over = (series.readings.nearer ?? []).filter((r) => r.value > 0);
  if (over.length < LEAST) return false;
  const v = quantile(values(over), 0.5),
    frames = over.map((r) => r.frame);
  judge.rows('front', over);
  judge.add('front', 'px', 'front', {
    value: v,
    off: v,
    worst: worstBy(over, (q) => q),
    readings: over,
    needed: 'hidden by what stands nearer than its foot',
    advice:
      `the performer lies over something upright by ${v.toFixed(0)} px (frames ${listed(frames)}) that goes on below ` +
      'its foot in the plate, so stands nearer: mark it as passing before the performer (front mark) and propose the ' +
      'front step again; or it stands on something raised, and it is right',
  });
  return true;
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
  return `off on frames ${listed(over)}`;
}

function listed(frames: readonly number[]): string {
  return `${frames.slice(0, NAMED).join(', ')}${frames.length > NAMED ? ', …' : ''}`;
}
