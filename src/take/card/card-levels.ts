/**
 * Light levels of the card as a linear model: paper, ink and surroundings, each with a part of its own for each quarter
 * of the card, a gradient of the light on the paper, unpredicted print, and one term in paper · ink for a tone curve
 * that was not undone exactly.
 */
import type { State } from './card-align-state.js';

/** Unknowns: 3 levels, 3 × 4 parts of the quarters, 2 of the gradient, print, tone curve. */
export const LEVELS = 19;
const OF_QUARTER = { paper: 3, ink: 7, outside: 11 };
const GRADIENT_U = 15;
const GRADIENT_V = 16;
const PRINT = 17;
const TONE_CURVE = 18;
/** Columns of one pixel's row that are not zero. */
export const ROW = 10;

/** What each pixel of a window shows of the card: shares of ink, surroundings and print, quarter, place −1..1. */
export type CardShares = Pick<State, 'ink' | 'outside' | 'unknown' | 'quarter' | 'u' | 'v'>;

/** Writes the ROW non-zero columns of a pixel's row of the model, and which of the unknowns they belong to. */
export function levelRow(of: CardShares, at: number, column: Float64Array, index: Int32Array): void {
  const ink = of.ink[at]!;
  const outside = of.outside[at]!;
  const unknown = of.unknown[at]!;
  const quarter = of.quarter[at]!;
  const paper = Math.max(0, 1 - ink - outside - unknown);
  column[0] = paper;
  index[0] = 0;
  column[1] = ink;
  index[1] = 1;
  column[2] = outside;
  index[2] = 2;
  column[3] = paper;
  index[3] = OF_QUARTER.paper + quarter;
  column[4] = ink;
  index[4] = OF_QUARTER.ink + quarter;
  column[5] = outside;
  index[5] = OF_QUARTER.outside + quarter;
  column[6] = paper * of.u[at]!;
  index[6] = GRADIENT_U;
  column[7] = paper * of.v[at]!;
  index[7] = GRADIENT_V;
  column[8] = unknown;
  index[8] = PRINT;
  column[9] = 4 * paper * ink;
  index[9] = TONE_CURVE;
}

/**
 * How strongly a level is held to zero, as a share of the pixels compared: the three levels themselves only against a
 * singular matrix, the quarters' own parts and the gradient as 0.4 % of the pixels would, the tone curve as 2 %.
 */
export function levelRidge(level: number): number {
  return level < 3 ? 1e-6 : level === TONE_CURVE ? 0.02 : 0.004;
}

/** Adds the two triangles of a size × size matrix that was summed up over both: the whole of it, on either side. */
export function addTriangles(matrix: Float64Array, size: number): void {
  for (let i = 0; i < size; i++)
    for (let j = 0; j < i; j++) {
      const sum = matrix[i * size + j]! + matrix[j * size + i]!;
      matrix[i * size + j] = sum;
      matrix[j * size + i] = sum;
    }
}
