/**
 * Follows the plate's ground under a planned foot over a shot: each frame is held against one piece of ground that was
 * kept (ground-residual.ts), not against the frame before, so nothing adds up. Where the ground has come much nearer or
 * leaves the picture a new piece is kept and goes on from there.
 */
import { apply } from '../../geometry/mat3.js';
import type { GroundFrame } from '../../join/ground/types.js';
import type { GroundStep, Recipe } from '../../join/types.js';
import type { GoneFrame } from '../reader/frame.js';
import { keepPiece, type GroundPiece } from './ground-piece.js';
import { groundResidual } from './ground-residual.js';
import { groundWarp, plannedGround, standingFrames, type PlannedGround } from './planned-ground.js';

type Pair = readonly [number, number];

/** Half the width of a piece in parts of the picture's width. */
const HALF = 0.14;
/** How far a piece reaches over and under the foot, in half widths. */
const OVER = 0.3,
  UNDER = 0.6;
/** Frames in a row on which nothing was told, after which nothing more is looked for. */
const GIVES_UP = 12;
/** Growth from which a new piece is kept. */
const GROWN = 1.3;

/** One shot's ground; frames are read in the order of their numbers, each once. */
export class GroundGauge {
  private readonly step: GroundStep;
  private readonly frames: ReadonlyMap<number, GroundFrame>;
  private piece: { readonly of: GroundPiece; readonly plan: PlannedGround; readonly pxPerMetre: number } | null = null;
  /** Shift of the kept piece itself, and last shift beside it, px. */
  private base: Pair = [0, 0];
  private last: Pair = [0, 0];
  private missed = 0;

  constructor(recipe: Recipe, step: GroundStep) {
    this.step = step;
    this.frames = standingFrames(recipe, step);
  }

  /**
   * Px by which the ground lies beside where it is planned since the first frame read; null where it can't be told.
   * @param hides whether something that passes hides a pixel
   */
  read(f: GoneFrame, size: Pair, hides: (x: number, y: number) => boolean): Pair | null {
    if (this.missed > GIVES_UP) return null;
    const at = this.frames.get(f.frame),
      plan = at === undefined || f.box === null ? null : plannedGround(this.step, at, size);
    if (at === undefined || plan === null) return null;
    if (this.piece === null) {
      this.keep(f, plan, at.pxPerMetre, size, hides);
      return this.piece === null ? null : this.base;
    }
    const { of, plan: kept } = this.piece,
      shift = groundResidual(of, f.plateLuma, size, groundWarp(kept, plan), this.last, hides);
    this.missed = shift === null ? this.missed + 1 : 0;
    if (shift === null) return null;
    this.last = [shift.x, shift.y];
    const grown = at.pxPerMetre / this.piece.pxPerMetre,
      here: Pair = [this.base[0] + grown * shift.x, this.base[1] + grown * shift.y];
    if (Math.max(grown, 1 / grown) > GROWN || leaves(of, kept, plan, size)) {
      this.base = here;
      this.keep(f, plan, at.pxPerMetre, size, hides);
    }
    return here;
  }

  private keep(
    f: GoneFrame,
    plan: PlannedGround,
    pxPerMetre: number,
    size: Pair,
    hides: (x: number, y: number) => boolean,
  ): void {
    const [W, H] = size,
      [x, y] = plan.foot,
      half = HALF * W,
      of = keepPiece(
        f.plateLuma,
        size,
        plan.foot,
        [Math.max(0, x - half), Math.max(0, y - OVER * half), Math.min(W, x + half), Math.min(H, y + UNDER * half)],
        (u, v) => plan.near(u, v) && !hides(u, v),
      );
    this.piece = of === null ? null : { of, plan, pxPerMetre };
    this.last = [0, 0];
  }
}

/** Whether a third of a piece's corners and middle lie outside the picture. */
function leaves(piece: GroundPiece, from: PlannedGround, to: PlannedGround, [W, H]: Pair): boolean {
  const warp = groundWarp(from, to),
    n = piece.x.length;
  let out = 0,
    of = 0;
  for (let i = 0; i < n; i += 37) {
    const [x, y] = apply(warp, piece.x[i]!, piece.y[i]!);
    of++;
    if (x < 3 || y < 3 || x > W - 3 || y > H - 3) out++;
  }
  return out > 0.35 * of;
}
