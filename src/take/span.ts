/**
 * The best stretch of a take: long enough, performer whole and on the screen, sharp, without
 * damaged frames, and starting where the plate's turn starts.
 */
import type { TakeFrame, TakeMeasures } from './measures.js';

export interface BestSpan {
  /** First frame of the take, and the frame after the last. */
  readonly in: number;
  readonly out: number;
  /** Frames of the longest stretch in which the performer is whole, that holds the span. */
  readonly usable: number;
  /**
   * Share of the span's looked-at frames in which the performer is cut or leaves the screen. Frames of the empty set at
   * the take's start and end are none of them: they make a take short, not badly framed.
   */
  readonly cutShare: number;
  /** Edges of the picture (`left`, `right`, `top`, `bottom`) that cut the performer, and `screen`. */
  readonly edges: readonly string[];
  /** Looked-at frames of the empty set before the performer comes and after it went. */
  readonly emptySet: number;
}

/** A stretch of frames; `out` exclusive. */
interface Run {
  readonly in: number;
  readonly out: number;
}

/** A performer that leaves this share of its ring off the screen has left it: the program's own choice. */
const OFF_SCREEN = 0.15;

/** @param open edges at which the plate cuts the performer itself, so that the take may too */
export function isCut(f: TakeFrame, open: readonly string[] = []): boolean {
  return f.box === null || f.touches.some((e) => !open.includes(e)) || f.offScreen > OFF_SCREEN;
}

/** Whether who is not there on a frame went, or will come, through an open edge: arms that reach in during the take. */
function comesThroughOpen(frames: readonly TakeFrame[], at: number, open: readonly string[]): boolean {
  const before = frames.slice(0, at).findLast((q) => q.box !== null),
    after = frames.slice(at + 1).find((q) => q.box !== null);
  return [before, after].some((q) => q !== undefined && q.touches.some((e) => open.includes(e)));
}

/**
 * Which looked-at frames show the empty set before the performer came or after it went (the brief asks for some at the
 * tail). Where it was last seen at an edge of the picture it walked out, and those frames are not of the empty set.
 */
function emptySetOf(frames: readonly TakeFrame[]): boolean[] {
  const first = frames.findIndex((q) => q.box !== null),
    last = frames.findLastIndex((q) => q.box !== null);
  if (first < 0) return frames.map(() => false);
  const before = frames[first]!.touches.length === 0,
    after = frames[last]!.touches.length === 0;
  return frames.map((_, i) => (i < first && before) || (i > last && after));
}

/**
 * Stretches of the take, in frames, that show the performer whole: `cut` says of each looked-at frame whether it is.
 */
function wholeRuns(frames: readonly TakeFrame[], cut: readonly boolean[], frameCount: number): Run[] {
  const runs: Run[] = [];
  let from: number | null = null;
  frames.forEach((q, i) => {
    if (!cut[i] && from === null) from = q.frame;
    if (cut[i] && from !== null) {
      runs.push({ in: from, out: q.frame });
      from = null;
    }
  });
  if (from !== null) runs.push({ in: from, out: frameCount });
  return runs;
}

/** Blur, in px, of the sharper quarter of the looked-at frames: what this take can be; 1 where none is known. */
function sharpPxOf(frames: readonly TakeFrame[]): number {
  const sigma = frames
    .map((q) => q.sigmaPx)
    .filter((v): v is number => v !== null)
    .sort((a, b) => a - b);
  return sigma.length > 0 ? sigma[Math.floor(sigma.length / 4)]! : 1;
}

/** What speaks against starts of a span of `length` frames, the less the better; 0: nothing does. */
function faultsOf(
  take: TakeMeasures,
  cut: readonly boolean[],
  length: number,
  start: number | null,
): (from: number) => number {
  const sharp = sharpPxOf(take.frames);
  return (from) => {
    let s = 0;
    let c = 0,
      broken = 0;
    take.frames.forEach((q, i) => {
      if (q.frame < from || q.frame >= from + length) return;
      c++;
      s +=
        (cut[i] ? 3 : 0) + (q.sigmaPx === null ? 0 : Math.min(2, Math.max(0, q.sigmaPx / Math.max(0.3, sharp) - 1.3)));
    });
    // A broken picture is as bad as a performer cut off.
    for (const d of take.damaged ?? []) if (d >= from && d < from + length) broken += 3 / length;
    const late = start === null ? 0 : Math.abs(from - start) / Math.max(1, 0.1 * length);
    return (c === 0 ? 0 : s / c) + broken + late;
  };
}

/**
 * Starts to be tried, of 0..last: the wished one, then from the middle outwards, since a performer needs a moment to
 * settle and the first of equals is taken.
 */
function startsToTry(last: number, stride: number, start: number | null): number[] {
  const order: number[] = [];
  const middle = Math.round(last / 2);
  for (let d = 0; d <= last; d += stride) {
    if (middle - d >= 0) order.push(middle - d);
    if (d > 0 && middle + d <= last) order.push(middle + d);
  }
  if (start !== null && start >= 0 && start <= last) order.unshift(start);
  return order;
}

/** The start against which least speaks; the first of equals. */
function bestStart(starts: readonly number[], faults: (from: number) => number): number {
  let best = 0;
  let least = Infinity;
  for (const from of starts) {
    const s = faults(from);
    if (s < least - 1e-9) {
      least = s;
      best = from;
    }
  }
  return best;
}

/** Edges at which these frames cut the performer although the plate does not; `screen`: its own screen ends there. */
function cuttingEdges(frames: readonly TakeFrame[], open: readonly string[]): string[] {
  const edges = new Set<string>();
  for (const q of frames) {
    for (const e of q.touches) if (!open.includes(e)) edges.add(e);
    if (q.box !== null && q.touches.every((e) => open.includes(e)) && q.offScreen > OFF_SCREEN) edges.add('screen');
  }
  return [...edges];
}

/**
 * @param length frames of the take that the plate needs
 * @param start frame at which the take should start for its turn to meet the plate's, or null
 * @param open edges at which the plate cuts the performer itself
 */
export function bestSpan(
  take: TakeMeasures,
  length: number,
  start: number | null,
  open: readonly string[] = [],
): BestSpan {
  const n = take.frameCount;
  const f = take.frames;
  const stride = f.length > 1 ? f[1]!.frame - f[0]!.frame : Math.max(1, n);
  const known = take.behind.kind !== 'none';
  const away = f.map((q, i) => q.box === null && comesThroughOpen(f, i, open));
  const cut = f.map((q, i) => known && !away[i] && isCut(q, open));
  const empty = emptySetOf(f);
  const runs = wholeRuns(f, cut, n);
  const best = bestStart(startsToTry(Math.max(0, n - length), stride, start), faultsOf(take, cut, length, start));
  const out = Math.min(n, best + length);
  const inside = f.flatMap((q, i) => (q.frame >= best && q.frame < out && !empty[i] ? [i] : []));
  const holding = runs.filter((r) => r.out > best && r.in < out).map((r) => r.out - r.in);
  const longest = Math.max(0, ...runs.map((r) => r.out - r.in));
  return {
    in: best,
    out,
    usable: known ? Math.max(holding.length > 0 ? Math.max(...holding) : 0, longest >= length ? longest : 0) : n,
    cutShare: inside.length === 0 ? 0 : inside.filter((i) => cut[i]).length / inside.length,
    edges: cuttingEdges(
      inside.map((i) => f[i]!),
      open,
    ),
    emptySet: empty.filter(Boolean).length,
  };
}
