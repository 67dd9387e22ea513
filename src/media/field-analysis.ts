/**
 * Tells from the pictures how their fields belong together: one moment a frame; two moments a frame (interlace);
 * film frames spread over fields 3:2 (pulldown), or over neighbouring frames. Judged by which weave of fields combs
 * least, over two runs of consecutive frames; resting pictures say nothing and count for nothing. (Own rule; the
 * measure of combing is common practice, no source.)
 */
import { rate, type Rate } from '../core/rational.js';
import { combing } from './fields.js';
import type { VideoFrame } from './types.js';

/** How the fields of a clip belong together. */
export interface FieldUse {
  readonly kind: 'whole' | 'interlaced' | 'pulldown' | 'shifted';
  /** Parity of the field that comes first in time: 0 top, 1 bottom. */
  readonly parity: 0 | 1;
  readonly note: string | null;
}

/** One moment a frame: nothing is to be put right. */
export const WHOLE: FieldUse = { kind: 'whole', parity: 0, note: null };

/** Frames in a run: two cycles of five and their neighbours. */
export const RUN_LENGTH = 13;
/** A weave that combs less than half as much as another is the better one. */
const CLEAR = 2;
/** Combing, in 8-bit codes a pixel, below which a picture rests. */
const FLOOR = 0.02;

/** @param runs runs of consecutive frames, each of RUN_LENGTH or fewer. */
export function judgeFields(runs: readonly (readonly VideoFrame[])[], flaggedParity: 0 | 1 | null): FieldUse {
  let whole = 0;
  let woven = 0;
  let between = 0;
  let before = 0;
  let after = 0;
  let firstTop = 0;
  let firstBottom = 0;
  for (const run of runs) {
    for (let i = 1; i + 1 < run.length; i++) {
      const c = combing(run[i]!, run[i]!, 0);
      const p = combing(run[i]!, run[i - 1]!, 0);
      const n = combing(run[i]!, run[i + 1]!, 0);
      const best = Math.min(p, n);
      const most = Math.max(p, n);
      if (most < FLOOR || (most < 1.2 * c && best > c / CLEAR)) continue;
      if (c * CLEAR <= best) whole++;
      else if (c >= CLEAR * best) {
        woven++;
        if (p < n) before++;
        else after++;
      } else {
        between++;
        // Of two moments the neighbour's field on one side is as near in time as its own, that on the other side three
        // times as far. Grain, or grain smoothed by a codec, combs alike on both sides and less within its own frame.
        if (best - c < (most - best) / 2) {
          if (p < n) firstTop++;
          else firstBottom++;
        }
      }
    }
  }
  const moving = whole + woven + between;
  if (moving < 4) return WHOLE;
  // Frame 4 of a 3:2 cycle weaves as well with its neighbour's field as with its own, so it stands between; woven ones
  // are two in five.
  if (woven >= 0.75 * moving) {
    return {
      kind: 'shifted',
      parity: before >= after ? 0 : 1,
      note: 'the fields of each picture stand in two neighbouring frames; they were put together again',
    };
  }
  if (woven >= 0.22 * moving && whole >= 0.22 * moving) {
    return {
      kind: 'pulldown',
      parity: before >= after ? 0 : 1,
      note:
        'film frames are spread over fields 3:2 (pulldown); the film frames were put together again, ' +
        'at four fifths of the rate',
    };
  }
  const laced = firstTop + firstBottom;
  // The nearer side is always the same one.
  if (laced >= 0.5 * moving && Math.max(firstTop, firstBottom) >= 0.8 * laced && whole < 0.35 * moving) {
    const parity = firstTop === firstBottom && flaggedParity !== null ? flaggedParity : firstTop >= firstBottom ? 0 : 1;
    return {
      kind: 'interlaced',
      parity,
      note:
        `the frames hold two moments each (interlaced, ${parity === 0 ? 'top' : 'bottom'} field first); ` +
        'the first field was kept and the other made anew',
    };
  }
  return WHOLE;
}

/** Is it worth looking? Line counts and rates of interlaced television, or a file that says so itself. */
export function mayHaveFields(heightPx: number, r: Rate, flagged: boolean): boolean {
  if (heightPx < 64) return false;
  if (flagged) return true;
  const lines = heightPx === 480 || heightPx === 486 || heightPx === 576 || heightPx === 1080;
  const fps = r.num / r.den;
  return lines && (Math.abs(fps - 25) < 0.01 || (fps > 29.9 && fps < 30.01));
}

/** Rate and frame count after the fields are put right. */
export function conformed(use: FieldUse, r: Rate, count: number): { rate: Rate; frameCount: number } {
  if (use.kind !== 'pulldown') return { rate: r, frameCount: count };
  const groups = Math.floor(count / 5);
  const rest = count - 5 * groups;
  return { rate: rate(r.num * 4, r.den * 5), frameCount: 4 * groups + Math.min(rest, 4) };
}
