/** The upright box about points of the plane. */
import { apply, type Mat3, type Point2 } from './mat3.js';

/** Bounds x0, y0, x1, y1 of points, through a matrix where one is given. */
export function boundsOf(points: readonly Point2[], through: Mat3 | null = null): [number, number, number, number] {
  let x0 = Infinity;
  let y0 = Infinity;
  let x1 = -Infinity;
  let y1 = -Infinity;
  for (const p of points) {
    const [x, y] = through === null ? p : apply(through, p[0], p[1]);
    x0 = Math.min(x0, x);
    y0 = Math.min(y0, y);
    x1 = Math.max(x1, x);
    y1 = Math.max(y1, y);
  }
  return [x0, y0, x1, y1];
}
