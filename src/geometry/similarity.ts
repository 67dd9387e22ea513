/**
 * Similarity that brings points onto others best (S. Umeyama, "Least-squares estimation of transformation parameters
 * between two point patterns", IEEE PAMI 13, 1991, in the plane).
 */
import type { Mat3, Point2 } from './mat3.js';

/** Lists of different length are matched by their middle and size alone. */
export function similarityBetween(from: readonly Point2[], to: readonly Point2[]): Mat3 {
  const a = middleOf(from);
  const b = middleOf(to);
  let cos = 0;
  let sin = 0;
  let size = 0;
  if (from.length === to.length) {
    for (let i = 0; i < from.length; i++) {
      const x = from[i]![0] - a[0];
      const y = from[i]![1] - a[1];
      const u = to[i]![0] - b[0];
      const v = to[i]![1] - b[1];
      cos += x * u + y * v;
      sin += x * v - y * u;
      size += x * x + y * y;
    }
  } else {
    cos = sizeOf(to, b);
    size = sizeOf(from, a);
  }
  if (!(size > 0)) return [1, 0, b[0] - a[0], 0, 1, b[1] - a[1], 0, 0, 1];
  cos /= size;
  sin /= size;
  return [cos, -sin, b[0] - cos * a[0] + sin * a[1], sin, cos, b[1] - sin * a[0] - cos * a[1], 0, 0, 1];
}

function middleOf(points: readonly Point2[]): Point2 {
  let x = 0;
  let y = 0;
  for (const p of points) {
    x += p[0] / points.length;
    y += p[1] / points.length;
  }
  return [x, y];
}

/** Root mean square distance from the middle. */
function sizeOf(points: readonly Point2[], middle: Point2): number {
  return Math.sqrt(
    points.reduce((sum, p) => sum + (p[0] - middle[0]) ** 2 + (p[1] - middle[1]) ** 2, 0) / points.length,
  );
}
