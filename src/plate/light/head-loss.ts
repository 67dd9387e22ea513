/**
 * The loss of the fits of a head's light to its levels: Geman-McClure (S. Geman, D. McClure, "Statistical methods for
 * tomographic image reconstruction", 1987), bounded higher for light that is not explained than for darkness. What a
 * key lights must be reached by it, so that a lit patch of one fifteenth of the head, all that a hat's shadow may
 * leave, is not outvoted by shading that the shadowed rest happens to show.
 */

/** Unexplained light costs up to this many times what unexplained darkness costs. */
const BRIGHT = 15;
/** What it costs to explain a sample as lying in a cast shadow. */
const SHADOW_TOLL = 0.1;
/** A key that falls flatter than this (cosine) lights too little for its shadow to tell. */
const FACING = 0.05;

/** Most that `left` (over nothing where light is left over) may cost. */
const boundOf = (left: number): number => (left > 0 ? BRIGHT : 1);

/** Cost of what is left over, whose usual variance is `variance`. */
export function lossOf(left: number, variance: number): number {
  const t2 = (left * left) / variance,
    bound = boundOf(left);
  return (bound * t2) / (bound + t2);
}

/** Weight of a sample in the least squares that lower the loss, but for the variance. */
export function weightOf(left: number, variance: number): number {
  const bound = boundOf(left),
    q = bound / (bound + (left * left) / variance);
  return q * q;
}

/** Cost of a sample that faces the key by `facing` where it sees no key, which leaves `left`. */
export const shadowLoss = (facing: number, left: number, variance: number): number =>
  facing > FACING ? lossOf(left, variance) + SHADOW_TOLL : Infinity;
