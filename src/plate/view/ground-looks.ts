/**
 * How other frames of a travelling camera look at the ground beside the view's frame, with one covariance: what
 * `travel-looks.ts` makes and the view is solved with.
 */
import type { Mat3, Vec3 } from '../../geometry/mat3.js';

/** One frame's look at the ground beside that of the view's frame. */
export interface GroundLook {
  readonly frame: number;
  /** From the view's camera to this one. */
  readonly rotation: Mat3;
  /** X of the view's camera is seen at rotation · X + shift; in heights of the view's camera over the ground. */
  readonly shift: Vec3;
}

export interface GroundLooks {
  /** Of the plate's pixels; of the view's frame, rad. */
  readonly lnFocal: number;
  readonly tilt: number;
  readonly roll: number;
  readonly looks: readonly GroundLook[];
  /**
   * Covariance of (ln focal, tilt, roll, then of each look a small turn on its left and its shift), row-major; what the
   * view holds is not in it.
   */
  readonly covariance: Float64Array;
  /** How far beside these values the way by itself has each of the same; as far as their covariance leaves it open. */
  readonly beside: Float64Array;
  /** Sd of ln of all shifts together, which the way leaves open where it tells no ground; 0 where it does. */
  readonly scaleSd: number;
  /** Whether the way tells the lens; else all is told for the view's own. */
  readonly lensTold: boolean;
  /** Pieces of the set that tell it, and those of them on the ground; none where the ground could not be told apart. */
  readonly pieces: number;
  readonly groundPieces: number;
}
