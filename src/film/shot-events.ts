/**
 * What the detector emits, how fades that meet in a flat picture become one change, and the shots that follow from it.
 */
import type { Shot } from './types.js';

/** A hard change of shots. */
export interface CutEvent {
  readonly kind: 'cut';
  /** First frame of the new shot. */
  readonly at: number;
  /** Dissimilarity of the two frames, 0..1. */
  readonly strength: number;
  /** The picture before it is flat (black, white, one colour). */
  readonly flatBefore?: boolean;
}

/** A change of shots over several frames. */
export interface GradualEvent {
  readonly kind: 'gradual';
  /** Last frame of nothing but the old shot, first of nothing but the new. */
  readonly a: number;
  readonly b: number;
  /** The picture is flat (black, white, one colour) at that end. */
  readonly flatStart: boolean;
  readonly flatEnd: boolean;
  /** Where it begins flat: the film showed a picture before, so that this does not open it. */
  readonly pictureBefore?: boolean;
  /** Log odds that it is one. */
  readonly quality: number;
}

/** A change of shots. */
export type ShotEvent = CutEvent | GradualEvent;

/**
 * Two gradual changes as close as this are the halves of one where either runs into a flat picture: nothing is seen
 * between.
 */
const SAME_FADE = 8;
/** A flat hold longer than this is a shot of its own (a black slug, a card), not part of a fade. */
const LONGEST_HOLD = 120;

const startOf = (e: ShotEvent): number => (e.kind === 'cut' ? e.at : e.a);

/** One change that goes through a flat picture, made of two halves. */
function throughFlat(a: number, b: number, quality: number): GradualEvent {
  return { kind: 'gradual', a, b, flatStart: true, flatEnd: true, quality };
}

/** Sorts by time; a fade out followed by a fade in (or by a cut in from flat) becomes one gradual change. */
export function joinFades(events: readonly ShotEvent[]): ShotEvent[] {
  const sorted = [...events].sort((p, q) => startOf(p) - startOf(q));
  const out: ShotEvent[] = [];
  for (const e of sorted) {
    const last = out[out.length - 1];
    if (last !== undefined && last.kind === 'gradual' && last.flatEnd && !last.flatStart) {
      if (e.kind === 'gradual' && e.a - last.b <= (e.flatStart ? LONGEST_HOLD : SAME_FADE)) {
        out[out.length - 1] = throughFlat(last.a, e.b, Math.min(last.quality, e.quality));
        continue;
      }
      if (e.kind === 'cut' && e.flatBefore === true && e.at - last.b <= LONGEST_HOLD) {
        out[out.length - 1] = throughFlat(last.a, e.at, last.quality);
        continue;
      }
    }
    if (
      last !== undefined &&
      last.kind === 'gradual' &&
      !last.flatStart &&
      e.kind === 'gradual' &&
      e.flatStart &&
      !e.flatEnd &&
      e.a - last.b <= SAME_FADE
    ) {
      out[out.length - 1] = throughFlat(last.a, e.b, Math.min(last.quality, e.quality));
      continue;
    }
    if (last !== undefined && last.kind === 'cut' && e.kind === 'gradual' && e.flatStart && e.a - last.at <= 12) {
      out[out.length - 1] = throughFlat(last.at - 1, e.b, e.quality);
      continue;
    }
    out.push(e);
  }
  return out;
}

/**
 * Shots between events. `over` holds the frames of the change itself: the first that shows the new shot to the last
 * that shows the old.
 */
export function shotsOf(events: readonly ShotEvent[], frames: number): Shot[] {
  if (frames <= 0) return [];
  const shots: { in: number; entry: Shot['entry']; over?: [number, number] }[] = [{ in: 0, entry: 'start' }];
  for (const e of events) {
    if (e.kind === 'cut') {
      if (e.at > shots[shots.length - 1]!.in && e.at < frames) shots.push({ in: e.at, entry: 'cut' });
      continue;
    }
    const fade = e.flatStart || e.flatEnd;
    const at = Math.min(frames - 1, Math.ceil((e.a + e.b) / 2));
    const over: [number, number] = [Math.max(0, e.a + 1), Math.max(0, Math.min(frames - 1, e.b - 1))];
    // A fade up from the first frame, or down to the last, begins or ends the film: no shot lies beyond it.
    if (e.flatStart && !e.flatEnd && e.pictureBefore !== true && shots.length === 1 && e.a <= 48) {
      shots[0] = { in: 0, entry: 'start', over: [0, over[1]] };
      continue;
    }
    if (e.flatEnd && !e.flatStart && frames - e.b <= 48) continue;
    if (at > shots[shots.length - 1]!.in) shots.push({ in: at, entry: fade ? 'fade' : 'dissolve', over });
  }
  return shots.map((s, i) => ({
    in: s.in,
    out: shots[i + 1]?.in ?? frames,
    entry: s.entry,
    ...(s.over ? { over: s.over } : {}),
  }));
}
