/**
 * Summed-area table (F. C. Crow, "Summed-area tables for texture mapping", SIGGRAPH 1984): (height + 1) × (width + 1)
 * doubles, first row and column zero, so that any rectangle's sum is four reads.
 */
import { requirePlane } from './boundary.js';

export interface IntegralImage {
  readonly width: number;
  readonly height: number;
  readonly sums: Float64Array;
}

/** Summed-area table of a plane, height × width. Throws `PW-IMAGE-SHAPE` where the sizes differ. */
export function integralImage(src: Float32Array, width: number, height: number): IntegralImage {
  requirePlane(src, width, height, 'integral image');
  const stride = width + 1;
  const sums = new Float64Array(stride * (height + 1));
  for (let y = 0; y < height; y++) {
    let row = 0;
    for (let x = 0; x < width; x++) {
      row += src[y * width + x]!;
      sums[(y + 1) * stride + x + 1] = sums[y * stride + x + 1]! + row;
    }
  }
  return { width, height, sums };
}

/** Sum over x0 ≤ x < x1, y0 ≤ y < y1; the rectangle is cut at the picture's edge. */
export function rectangleSum(table: IntegralImage, x0: number, y0: number, x1: number, y1: number): number {
  const xa = Math.min(table.width, Math.max(0, x0));
  const xb = Math.min(table.width, Math.max(xa, x1));
  const ya = Math.min(table.height, Math.max(0, y0));
  const yb = Math.min(table.height, Math.max(ya, y1));
  const s = table.width + 1;
  return table.sums[yb * s + xb]! - table.sums[ya * s + xb]! - table.sums[yb * s + xa]! + table.sums[ya * s + xa]!;
}
