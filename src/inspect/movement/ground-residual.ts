/**
 * How far the plate's ground about a foot lies from where it is planned: a piece of one frame, kept, is laid on another
 * by the planned homography, and each of its cells tells by what it is left beside it (least squares, inverse
 * compositional: Baker & Matthews, IJCV 56, 2004). The cells vote: the shift at the foot, and a linear distortion about
 * it as the plan's lens and tilt need not be right, are fitted to what they say with Cauchy's weights, none of them
 * taken for surer than a floor. So a post or a leg, whose hard edges tell most, does not outvote the ground about it,
 * and the error comes from how the cells scatter. Display-coded luma planes, height × width.
 */
import type { Mat3 } from '../../geometry/mat3.js';
import {
  cutUnder,
  differences,
  medianOf,
  OF_MEDIAN,
  slopesOf,
  type Cut,
  type GroundPiece,
  type Parting,
} from './ground-piece.js';
import { elected, SHIFT_NUMBERS, votesOf } from './ground-votes.js';

/** Least noise that is believed: rounding to eight bits after smoothing. */
const LEAST_NOISE = 0.0006;
const STEPS = 8,
  SETTLED_PX = 0.01;
/** Surer than this a shift must be told, px. */
const SURE = 0.2;
/** Farthest that is looked for, px beside where the last frame lay. */
const FARTHEST = 4;
/** Fewest cells, and the share of their votes that must agree. */
const FEWEST_CELLS = 4,
  AGREE = 0.55;

export interface GroundShift {
  /** Px of the kept frame by which the ground lies beside the plan at the foot. */
  readonly x: number;
  readonly y: number;
  /** Standard deviation of the worse direction, px. */
  readonly sd: number;
}

/**
 * The ground's shift beside the plan on another frame; null where it can't be told: too little pattern, too much of it
 * hidden, or its cells disagree.
 * @param warp pixels of the kept frame to this one's, as planned
 * @param start shift of the frame before
 * @param hides whether something that passes hides the ground at a pixel of this frame
 */
export function groundResidual(
  piece: GroundPiece,
  plane: Float32Array,
  size: readonly [number, number],
  warp: Mat3,
  start: readonly [number, number] = [0, 0],
  hides: (x: number, y: number) => boolean = () => false,
): GroundShift | null {
  const cut = cutUnder(piece, plane, size, warp, FARTHEST + 4 + Math.hypot(...start));
  if (cut === null) return null;
  for (const parting of piece.partings) {
    const r = fitted(piece, parting, { cut, warp, hides }, start);
    if (r !== null) return r;
  }
  return null;
}

/** Another frame under a piece: its smoothed part, where the piece is planned to lie on it, and what hides it. */
interface Under {
  readonly cut: Cut;
  readonly warp: Mat3;
  readonly hides: (x: number, y: number) => boolean;
}

function fitted(
  piece: GroundPiece,
  parting: Parting,
  { cut, warp, hides }: Under,
  start: readonly [number, number],
): GroundShift | null {
  const q = new Float64Array(SHIFT_NUMBERS);
  q[0] = start[0];
  q[1] = start[1];
  let moved = Infinity;
  for (let step = 0; step < STEPS; step++) {
    const e = differences(piece, cut, warp, q, hides);
    if (e === null) return null;
    const noise = Math.max(LEAST_NOISE, OF_MEDIAN * medianOf(e)),
      settled = step === STEPS - 1 || moved < SETTLED_PX,
      votes = votesOf(piece, parting, e, noise, settled ? slopesOf(piece, cut, warp, q, e) : null),
      r = votes.length < FEWEST_CELLS ? null : elected(votes, q);
    if (r === null) return null;
    for (let k = 0; k < SHIFT_NUMBERS; k++) q[k] = q[k]! - r.q[k]!;
    if (Math.hypot(q[0]! - start[0], q[1]! - start[1]) > FARTHEST) return null;
    moved = Math.hypot(r.q[0]!, r.q[1]!);
    if (settled) return r.agree < AGREE || r.sd > SURE ? null : { x: q[0]!, y: q[1]!, sd: r.sd };
  }
  return null;
}
