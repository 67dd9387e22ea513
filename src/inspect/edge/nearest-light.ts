/**
 * The light of the solid body that lies nearest to a pixel at or beyond its outline, averaged over a small square so
 * that neither grain nor a single hair stands for the body.
 */
import { nearestInSet } from '../../image/distance.js';
import { lightOf } from './edge-light.js';

/** Part of a picture: x0, y0 inclusive, x1, y1 exclusive. */
type Box = readonly [number, number, number, number];

/** The solid body within a box: where the matte (whole frame, `width` wide) covers more than `cover`. */
export class NearestBody {
  /** From each pixel of the box, px; 0 in the body. */
  readonly distance: Float32Array;
  readonly count: number;
  private readonly solid: Uint8Array;
  private readonly nearest: Int32Array;
  private readonly box: Box;
  private readonly width: number;

  constructor(matte: Float32Array, width: number, box: Box, cover: number) {
    const [x0, y0, x1, y1] = box,
      w = x1 - x0,
      solid = new Uint8Array(w * (y1 - y0));
    let count = 0;
    for (let q = 0; q < solid.length; q++)
      if (matte[(y0 + Math.floor(q / w)) * width + x0 + (q % w)]! > cover) {
        solid[q] = 1;
        count++;
      }
    const { nearest, distance } = nearestInSet(solid, w, y1 - y0);
    this.solid = solid;
    this.count = count;
    this.nearest = nearest;
    this.distance = distance;
    this.box = box;
    this.width = width;
  }

  /**
   * Mean linear luminance of the body in a picture (display-coded, planes of `n`) within `half` px to each side of its
   * pixel nearest to pixel `q` of the box. A body must be there.
   */
  light(data: Float32Array, n: number, q: number, half: number): number {
    const [x0, y0, x1, y1] = this.box,
      w = x1 - x0,
      h = y1 - y0,
      nx = this.nearest[q]! % w,
      ny = Math.floor(this.nearest[q]! / w);
    let sum = 0,
      count = 0;
    for (let v = Math.max(0, ny - half); v <= Math.min(h - 1, ny + half); v++)
      for (let u = Math.max(0, nx - half); u <= Math.min(w - 1, nx + half); u++)
        if (this.solid[v * w + u] === 1) {
          sum += lightOf(data, n, (y0 + v) * this.width + x0 + u);
          count++;
        }
    return sum / count;
  }
}
