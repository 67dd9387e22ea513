/** Where the still picture of a set lies over its reference frame, and how fine it is. */
import type { Mat3 } from '../../geometry/mat3.js';

/** Bounds of the mosaic in reference pixels and its scale (mosaic pixels a reference pixel). */
export interface MosaicFrame {
  readonly x0: number;
  readonly y0: number;
  readonly width: number;
  readonly height: number;
  readonly scale: number;
}

/** Reference pixels → mosaic pixels. */
export function mosaicMatrix(f: MosaicFrame): Mat3 {
  return [f.scale, 0, -f.x0 * f.scale, 0, f.scale, -f.y0 * f.scale, 0, 0, 1];
}
