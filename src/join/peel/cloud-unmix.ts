/**
 * Unmixing between the clouds of colours on either side of an edge, for a performer that no screen stands behind: cells
 * of both sides' colours (`local-unmix.ts`) and what they make of each pixel, in coded light.
 */
import { scatterOf, unmixingVariance } from './line-prior.js';
import { cellMoments, unmixingModel } from './local-unmix.js';
import { resampleCells } from './resample-cells.js';

/** Side of a cell of the colour clouds, px, and the weight of the coarser level. */
export const CELL = 8;
const PRIOR = 8;
/** Variance of coded noise taken for granted: an 8-bit camera file. */
export const CODED_NOISE = 4e-5;

/** A pixel's coverage is Σ weights · (I − B), planes of w × h. */
export interface CloudUnmixing {
  /** Three planes. */
  readonly weights: Float32Array;
  /** Mean colours of set and performer about each pixel, three planes each. */
  readonly back: Float32Array;
  readonly front: Float32Array;
  /** Variance of the coverage. */
  readonly doubt: Float32Array;
}

/**
 * @param data coded RGB, planar, w × h @param weightF how much each pixel counts for the performer's cloud @param weightB
 * for the set's
 * @returns null where one of them has no pixel
 */
export function unmixClouds(
  data: Float32Array,
  w: number,
  h: number,
  weightF: Float32Array,
  weightB: Float32Array,
): CloudUnmixing | null {
  const performer = cellMoments(data, weightF, w, h, CELL, PRIOR),
    behind = cellMoments(data, weightB, w, h, CELL, PRIOR);
  if (performer === null || behind === null) return null;
  const { grid } = performer,
    cells = grid.width * grid.height,
    // Second moments about the mean: what is left of I − B behind the performer.
    residual = new Float32Array(9 * cells);
  for (let j = 0; j < cells; j += 1) {
    const m = [behind.moments[j]!, behind.moments[cells + j]!, behind.moments[2 * cells + j]!];
    let k = 3;
    for (let p = 0; p < 3; p += 1)
      for (let q = p; q < 3; q += 1, k += 1)
        residual[k * cells + j] = Math.max(p === q ? 0 : -1, behind.moments[k * cells + j]! - m[p]! * m[q]!);
  }
  const model = unmixingModel(performer.moments, behind.moments, residual, cells, CODED_NOISE),
    variance = unmixingVariance(model, scatterOf(performer.moments, residual, cells), grid, CODED_NOISE);
  return {
    weights: resampleCells(model, grid, CELL, w, h, 3),
    back: resampleCells(behind.moments, grid, CELL, w, h, 3),
    front: resampleCells(performer.moments.subarray(0, 3 * cells), grid, CELL, w, h, 3),
    doubt: resampleCells(variance, grid, CELL, w, h, 1),
  };
}
