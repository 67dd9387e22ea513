/**
 * Coordinate search for a body's depth: steps along one number at a time, shorter from round to round, each drawn to
 * none by a prior.
 */
import type { BodyDepth } from '../ground/types.js';

/** Sd that is taken for each number before anything is seen (own choice, tried on eight scenes of four bodies). */
const PRIOR: BodyDepth = { lean: 0.15, head: 0.15, deep: 0.2 };
const NAMES = ['lean', 'head', 'deep'] as const;
const ROUNDS = 5,
  SHRINK = 0.6;
/** The body as its outline alone sets it up. */
export const FLAT: BodyDepth = { lean: 0, head: 0, deep: 0 };

/**
 * The depth whose `overlap` (0..1), less `cost` for each square of a prior's sd, is most; none of its numbers is
 * negative.
 */
export function searchDepth(overlap: (d: BodyDepth) => number, cost: number): BodyDepth {
  const worth = (d: BodyDepth): number => NAMES.reduce((v, k) => v - cost * (d[k] / PRIOR[k]) ** 2, overlap(d));
  let best = FLAT,
    most = overlap(FLAT);
  for (let round = 0, size = SHRINK; round < ROUNDS; round++, size *= SHRINK) {
    for (const name of NAMES) {
      for (const way of [-1, 1]) {
        for (let again = 0; again < 3; again++) {
          const next = { ...best, [name]: best[name] + way * size * PRIOR[name] };
          if (next[name] < 0) break;
          const value = worth(next);
          if (value <= most + 1e-4) break;
          most = value;
          best = next;
        }
      }
    }
  }
  return best;
}
