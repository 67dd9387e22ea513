/**
 * Area coverage of a simple polygon: each pixel gets the share of it that the polygon covers, exactly, by accumulating
 * the signed area under each edge (as font rasterisers do). Points in picture coordinates, pixel corners at integers.
 * Polygons that cross themselves get the absolute winding number cut at 1.
 */
import { apply, type Mat3 } from '../geometry/mat3.js';
import { planeOr } from './boundary.js';

/** x, y in pixels; a pixel's centre lies at +.5. */
export type Point = readonly [number, number];

/** Whether a point lies inside, by the even-odd rule. */
export function insidePolygon(polygon: readonly Point[], x: number, y: number): boolean {
  let inside = false;
  for (let i = 0, j = polygon.length - 1; i < polygon.length; j = i++) {
    const [xi, yi] = polygon[i]!;
    const [xj, yj] = polygon[j]!;
    if (yi > y !== yj > y && x < ((xj - xi) * (y - yi)) / (yj - yi) + xi) inside = !inside;
  }
  return inside;
}

/** Area by the shoelace formula, px²; its sign tells which way round the points go. */
export function signedArea(polygon: readonly Point[]): number {
  let sum = 0;
  for (let i = 0; i < polygon.length; i++) {
    const a = polygon[i]!,
      b = polygon[(i + 1) % polygon.length]!;
    sum += a[0] * b[1] - b[0] * a[1];
  }
  return sum / 2;
}

/** Area of a polygon that goes either way round, px². */
export function polygonArea(polygon: readonly Point[]): number {
  return Math.abs(signedArea(polygon));
}

/**
 * One polygon that `rasterizePolygon` fills where any of several lies: all go round the same way, and each is reached
 * from the first one's first point and left again by the same line, which covers nothing. Where two overlap their
 * winding number is two and is cut at 1; the even-odd rule of `insidePolygon` does not hold there.
 */
export function joinedPolygons(polygons: readonly (readonly Point[])[]): [number, number][] {
  const round = polygons.map((p) => (signedArea(p) < 0 ? p.toReversed() : p).map(([x, y]): [number, number] => [x, y]));
  const [first = [], ...others] = round;
  return [...first, ...others.flatMap((p) => [first[0]!, ...p, p[0]!])];
}

/** Coverage 0..1, height × width; fewer than three points cover nothing. */
export function rasterizePolygon(
  points: readonly Point[],
  width: number,
  height: number,
  dst?: Float32Array,
): Float32Array {
  const out = planeOr(dst, width * height, 'polygon');
  out.fill(0);
  if (points.length < 3) return out;
  const acc = new Float64Array((width + 2) * height);
  const stride = width + 2;
  for (let i = 0; i < points.length; i++) {
    const p = points[i]!;
    const q = points[(i + 1) % points.length]!;
    accumulateEdge(acc, stride, width, height, p[0], p[1], q[0], q[1]);
  }
  for (let y = 0; y < height; y++) {
    let sum = 0;
    for (let x = 0; x < width; x++) {
      sum += acc[y * stride + x]!;
      out[y * width + x] = Math.min(1, Math.abs(sum));
    }
  }
  return out;
}

/** The same of a polygon that is carried by a homography first. */
export function rasterizeMoved(
  points: readonly Point[],
  by: Mat3,
  width: number,
  height: number,
  dst?: Float32Array,
): Float32Array {
  const moved = points.map(([x, y]) => apply(by, x, y));
  return rasterizePolygon(moved, width, height, dst);
}

function accumulateEdge(
  acc: Float64Array,
  stride: number,
  width: number,
  height: number,
  xa: number,
  ya: number,
  xb: number,
  yb: number,
): void {
  if (ya === yb) return;
  const sign = ya < yb ? 1 : -1;
  const x0 = ya < yb ? xa : xb;
  const y0 = Math.min(ya, yb);
  const x1 = ya < yb ? xb : xa;
  const y1 = Math.max(ya, yb);
  const slope = (x1 - x0) / (y1 - y0);
  const first = Math.max(0, Math.floor(y0));
  const last = Math.min(height, Math.ceil(y1));
  for (let y = first; y < last; y++) {
    const ta = Math.max(y, y0);
    const tb = Math.min(y + 1, y1);
    const dy = sign * (tb - ta);
    if (dy === 0) continue;
    const ua = x0 + (ta - y0) * slope;
    const ub = x0 + (tb - y0) * slope;
    addSpan(acc, y * stride, width, Math.min(ua, ub), Math.max(ua, ub), dy);
  }
}

/** Adds the area right of an edge that runs from x = lo to x = hi over a height `dy` of one row. */
function addSpan(acc: Float64Array, row: number, width: number, lo: number, hi: number, dy: number): void {
  if (hi <= 0) {
    acc[row] = acc[row]! + dy;
    return;
  }
  if (lo >= width) return;
  if (lo < 0 || hi > width) {
    // Cut at the picture's sides: what lies left counts in full, what lies right not at all.
    const span = hi - lo;
    if (lo < 0) {
      const share = -lo / span;
      acc[row] = acc[row]! + dy * share;
      addSpan(acc, row, width, 0, hi, dy * (1 - share));
    } else addSpan(acc, row, width, lo, width, (dy * (width - lo)) / span);
    return;
  }
  const i0 = Math.min(width, Math.floor(lo));
  const i1 = Math.min(width, Math.ceil(hi));
  if (i1 <= i0 + 1) {
    const mean = 0.5 * (lo + hi) - i0;
    acc[row + i0] = acc[row + i0]! + dy * (1 - mean);
    acc[row + i0 + 1] = acc[row + i0 + 1]! + dy * mean;
    return;
  }
  const s = 1 / (hi - lo);
  for (let i = i0; i < i1; i++) {
    const a = Math.max(lo, i);
    const b = Math.min(hi, i + 1);
    const part = dy * (b - a) * s;
    const mean = 0.5 * (a + b) - i;
    acc[row + i] = acc[row + i]! + part * (1 - mean);
    acc[row + i + 1] = acc[row + i + 1]! + part * mean;
  }
}
