/** What camera-follow.ts hands from step to step while it looks for the set in one frame. */
import { apply, type Mat3 } from '../../geometry/mat3.js';
import type { AlignResult } from '../ride/ride-align.js';
import type { SetFrame, SetKey } from './camera-follow.js';

/** What one frame is looked for with: starts are the key's template to the frame's pixels. */
export interface Search {
  readonly key: SetKey;
  /** As the camera moved before, and as it stood last. */
  readonly predicted: Mat3;
  readonly resting: Mat3;
  /** Information that holds a fit to the prediction, tightly and loosely. */
  readonly near: Float64Array;
  readonly wide: Float64Array;
}

export interface Sought {
  readonly best: AlignResult | null;
  readonly nearest: AlignResult | null;
  /** Of the best: agreement times what is visible; -1 where there is none. */
  readonly quality: number;
}

/** An alignment, the pieces found again under it, and their share of all that could be. */
export interface Placed {
  readonly result: AlignResult | null;
  readonly matches: SetFrame['matches'];
  readonly share: number;
}

export interface Chosen {
  readonly placed: Placed;
  readonly best: AlignResult | null;
  /** As `Sought.quality`. */
  readonly quality: number;
}

/** Pieces that were found within a pixel and a half of where a motion from the key has them. */
export function closeCount(
  key: SetKey,
  matches: readonly { readonly patch: number; readonly x: number; readonly y: number }[],
  fromKey: Mat3,
): number {
  let close = 0;
  for (const q of matches) {
    const p = key.patches[q.patch]!;
    const [x, y] = apply(fromKey, p[0], p[1]);
    if (Math.hypot(x - q.x, y - q.y) < 1.5) close++;
  }
  return close;
}
