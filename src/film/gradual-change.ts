/**
 * Gradual changes: a run of frames that is a linear mixture of its two ends, which are not the same
 * shot (mixture.ts). Runs of many lengths are tried about every second frame; of those that overlap
 * the best is kept and its ends found to the frame.
 */
import type { FrameHistory } from './frame-history.js';
import { lowContrast } from './low-vector.js';
import { fitRamp, gradualScore, mixtureShare, testMixture } from './mixture.js';
import type { GradualEvent } from './shot-events.js';

/** Spans tested for a mixture, frames from the last of the old shot to the first of the new. */
const SPANS = [5, 7, 9, 12, 16, 21, 27, 34, 42, 50, 60] as const;
/**
 * Frames that must follow a centre before it is tested: half the longest span, and the
 * margin that `refineGradual` may take.
 */
export const CENTRE_MARGIN = 42;
/** Least log odds of a gradual change (mixture.ts). */
const LEAST_SCORE = 1;
/** Longest faint tail of a fade that its ramp may leave out, frames. */
const LONGEST_TAIL = 16;

/** A run that may be a gradual change: last frame of the old shot, first of the new, log odds. */
export interface GradualCandidate {
  a: number;
  b: number;
  quality: number;
}

/** Every run about the frame `c` that passes. */
export function gradualCandidates(history: FrameHistory, c: number): GradualCandidate[] {
  const out: GradualCandidate[] = [];
  for (const span of SPANS) {
    const a = c - (span >> 1);
    const b = a + span;
    if (!history.kept(a) || !history.kept(b)) continue;
    // Cheapest first: where two pictures lie over each other fine detail is weakest in the middle; motion leaves it
    // alone.
    let dip = 0;
    const da = history.detailAt(a);
    const db = history.detailAt(b);
    for (let t = a + 1; t < b; t++) {
      const r = (t - a) / span;
      dip += history.detailAt(t) / ((1 - r) * da + r * db + 1);
    }
    dip = 1 - dip / (span - 1);
    if (dip < 0.03) continue;
    const short = span < 9;
    const m = testMixture(history.lowOf, a, b, short ? 0.6 : 0.4, short ? 40 : 16);
    if (m === null || m.rampError > 0.14 || m.residual > 0.12 || m.largestStep > Math.max(0.24, 2.4 / span)) continue;
    const d = history.flat(a) || history.flat(b) ? 1 : history.dissimilarity(a, b, 2);
    if (d < 0.4) continue;
    const score = gradualScore(dip, d, m) - (short ? 1 : 0);
    if (score > LEAST_SCORE) out.push({ a, b, quality: score });
  }
  return out;
}

/** Finds a candidate's ends to the frame. `cutBetween(x, y)`: whether a hard cut lies after x and not after y. */
export function refineGradual(
  history: FrameHistory,
  k: GradualCandidate,
  cutBetween: (x: number, y: number) => boolean,
): GradualEvent {
  const margin = Math.max(4, Math.min(10, (k.b - k.a) >> 1));
  let from = k.a;
  let to = k.b;
  while (from > k.a - margin && history.kept(from - 1) && !cutBetween(from - 1, from)) from--;
  while (to < k.b + margin && history.kept(to + 1) && !cutBetween(to, to + 1)) to++;
  const a = history.lowOf(k.a);
  const b = history.lowOf(k.b);
  let e = 0;
  for (let i = 0; i < a.length; i++) e += (b[i]! - a[i]!) ** 2;
  const alpha = new Float64Array(to - from + 1);
  for (let t = from; t <= to; t++) alpha[t - from] = mixtureShare(history.lowOf(t), a, b, e);
  // Rescale: the anchors may sit inside the change, so that beyond them α runs past 0 and 1.
  const head = Math.min(...alpha.subarray(0, 3));
  const tail = Math.max(...alpha.subarray(alpha.length - 3));
  const lo = Math.min(0, (head + alpha[0]!) / 2);
  const hi = Math.max(1, (tail + alpha[alpha.length - 1]!) / 2);
  for (let i = 0; i < alpha.length; i++) alpha[i] = (alpha[i]! - lo) / (hi - lo);
  const detail = Float64Array.from(alpha, (_, i) => history.detailAt(from + i));
  const fit = fitRamp(alpha, from, detail);
  // A fade whose last faint frames the ramp left out is still a fade.
  const most = Math.min(LONGEST_TAIL, fit.b - fit.a);
  const start = flatBeyond(history, fit.a, -1, most, cutBetween);
  const end = flatBeyond(history, fit.b, 1, most, cutBetween);
  return {
    kind: 'gradual',
    a: start,
    b: end,
    flatStart: history.flat(start),
    flatEnd: history.flat(end),
    quality: k.quality,
  };
}

/** The flat frame that a fade runs into from `t` on (step 1 or −1), its contrast falling all the way; else `t`. */
function flatBeyond(
  history: FrameHistory,
  t: number,
  step: 1 | -1,
  most: number,
  cutBetween: (x: number, y: number) => boolean,
): number {
  if (history.flat(t)) return t;
  let contrast = lowContrast(history.lowOf(t));
  for (let s = t + step; Math.abs(s - t) <= most && history.kept(s); s += step) {
    const c = lowContrast(history.lowOf(s));
    if (c > contrast) return t;
    if (history.flat(s)) return cutBetween(Math.min(s, t), Math.max(s, t)) ? t : s;
    contrast = c;
  }
  return t;
}
