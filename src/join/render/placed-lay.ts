/**
 * How the take's grid lies under a box of plate pixels, and which of its cells hold anything: what the drawing of the
 * performer (draw-placed.ts) and its plain twin (draw-placed-plain.ts) share.
 */
import { PlatewrightError } from '../../core/errors.js';
import { tryInvert, type Mat3 } from '../../geometry/mat3.js';
import type { FrontField } from '../body/view-shift.js';
import type { Sight } from '../body/view-sight.js';

/** Vertical mend of the view: take pixel coordinates about the foot, along the upright. */
export interface ViewShift {
  readonly field: FrontField;
  /** Foot and unit direction of the upright (ground to top) in the take's pixels. */
  readonly foot: readonly [number, number];
  readonly along: readonly [number, number];
  readonly sight: Sight;
  /**
   * What lies below the foot in the take's picture stands on the floor, at least this much nearer for each pixel
   * (floorBefore). 0 where the take looks level.
   */
  readonly floor: number;
}

/** Most samples a plate pixel along one axis. */
const MOST_GRID = 5;
/**
 * Keys' own coefficient, and a rounder one for what is averaged already: held against the practice pictures at −.75 to
 * 0, where sharper ones lay farther off.
 */
export const KEYS = -0.5,
  ROUNDER = -0.1;

/** How the take's grid lies under a plate box. */
export interface Lay {
  readonly inverse: Mat3;
  readonly gx: number;
  readonly gy: number;
  readonly larger: boolean;
}

/**
 * How a placement lays the take under `box` (x0, y0, x1, y1, plate pixels). Throws `PW-JOIN-PLACE` where it folds to a
 * line.
 * @param averaged the source was averaged before and carries a footprint of its own
 */
export function layOf(toPlate: Mat3, box: readonly [number, number, number, number], averaged: boolean): Lay {
  const inverse = tryInvert(toPlate);
  if (inverse === null)
    throw new PlatewrightError(
      'PW-JOIN-PLACE',
      'the placement folds the performer to a line; check its ground and top marks',
      { kind: 'input' },
    );
  const [m0, m1, m2, m3, m4, m5, m6, m7, m8] = inverse;
  const cx = (box[0] + box[2]) / 2,
    cy = (box[1] + box[3]) / 2;
  const wc = m6 * cx + m7 * cy + m8;
  const uc = (m0 * cx + m1 * cy + m2) / wc,
    vc = (m3 * cx + m4 * cy + m5) / wc;
  const stepX = Math.hypot((m0 - uc * m6) / wc, (m3 - vc * m6) / wc),
    stepY = Math.hypot((m1 - uc * m7) / wc, (m4 - vc * m7) / wc);
  // An averaged source carries its own footprint: bicubic, and a grid only where it is made much smaller again.
  const grid = (step: number): number => Math.min(MOST_GRID, Math.max(1, Math.ceil(step - (averaged ? 0.3 : 0.05))));
  return { inverse, gx: grid(stepX), gy: grid(stepY), larger: averaged || (stepX < 0.95 && stepY < 0.95) };
}

/** Which cells of 8 × 8 source pixels hold anything, as a summed table: most of the box is empty. */
export interface Occupancy {
  readonly w: number;
  readonly h: number;
  readonly sum: Int32Array;
}
/** Side of a cell, source pixels. */
export const CELL = 8;

/** Summed table of a w × h plane of flags, (h + 1) × (w + 1). */
export function summed(any: Uint8Array, w: number, h: number): Occupancy {
  const sum = new Int32Array((w + 1) * (h + 1));
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++)
      sum[(y + 1) * (w + 1) + x + 1] =
        any[y * w + x]! + sum[y * (w + 1) + x + 1]! + sum[(y + 1) * (w + 1) + x]! - sum[y * (w + 1) + x]!;
  return { w, h, sum };
}
