/**
 * Measures of a plate whose file shows some pictures twice or more (24 frames a second in a file of 30, a
 * converter's stutter). On a repeated frame nothing has moved: what was measured there holds as it was on the frame
 * before. What is smoothed over frames (a travelling camera's way, a turn's curve) would go on there, beside a
 * picture that stands.
 */
import type { CameraMove, RideTrack, Travel, Turn } from './types.js';

/**
 * The first frame of the run of alike pictures that each frame belongs to. @param held frames that only repeat the
 * one before
 */
export function shownSince(held: readonly number[]): (frame: number) => number {
  const repeats = new Set(held);
  return (frame) => {
    let n = frame;
    while (repeats.has(n)) n--;
    return n;
  };
}

/** A list by frames in which repeated frames say what their picture's first frame says. */
export function heldList<T extends { readonly frame: number }>(
  list: readonly T[],
  held: readonly number[],
): readonly T[] {
  if (held.length === 0) return list;
  const since = shownSince(held);
  const at = new Map(list.map((f) => [f.frame, f]));
  return list.map((f) => {
    const first = at.get(since(f.frame));
    return first === undefined || first === f ? f : { ...first, frame: f.frame };
  });
}

interface ByFrame {
  readonly camera?: CameraMove | undefined;
  readonly travel?: Travel | undefined;
  readonly ride?: RideTrack | undefined;
  readonly footing?: RideTrack | undefined;
  readonly turn?: Turn | undefined;
}

/** The measures that have a value a frame, held where the picture holds. */
export function heldMeasures<T extends ByFrame>(of: T, held: readonly number[]): T {
  if (held.length === 0) return of;
  const hold = <L extends { readonly frames: readonly { readonly frame: number }[] }>(
    part: L | undefined,
  ): L | undefined => (part === undefined ? undefined : { ...part, frames: heldList(part.frames, held) });
  return {
    ...of,
    ...(of.camera === undefined ? {} : { camera: hold(of.camera) }),
    ...(of.travel === undefined ? {} : { travel: hold(of.travel) }),
    ...(of.ride === undefined ? {} : { ride: hold(of.ride) }),
    ...(of.footing === undefined ? {} : { footing: hold(of.footing) }),
    ...(of.turn === undefined ? {} : { turn: hold(of.turn) }),
  };
}
