/**
 * The pixels of a ride's region that carry position: inside the outline, not clipped, of strong gradient, spread over
 * cells.
 */
import type { Point2 } from '../../geometry/mat3.js';
import type { LumaPyramid } from './ride-pyramid.js';

/** Pixels of a level in scan order: place, squared slope, cell; the first `count` of each array. */
export interface Pixels {
  readonly count: number;
  readonly x: Int32Array;
  readonly y: Int32Array;
  readonly g: Float64Array;
  readonly cell: Int32Array;
}

interface Box {
  readonly x0: number;
  readonly y0: number;
  readonly x1: number;
  readonly y1: number;
}

/** The part of a level that pixels are taken from, and the grid of cells over it. */
export interface PixelRegion {
  /** Pixels of the frame. */
  readonly polygon: readonly Point2[];
  readonly box: Box;
  /** Level pixels a frame pixel. */
  readonly f: number;
  readonly columns: number;
  readonly rows: number;
  /** Whether a frame's pixel and those within `reach` of it belong to the plane; null: all do. */
  readonly belongs: ((x: number, y: number, reach: number) => boolean) | null;
}

/** Pixels that lie in the polygon (even-odd) and are neither clipped nor somebody else's. */
export function pixelsInside(
  { width: w, height: h, data }: LumaPyramid[number],
  { polygon, box: { x0, y0, x1, y1 }, f, columns, rows, belongs }: PixelRegion,
): Pixels {
  const left = Math.max(1, Math.floor(x0 * f));
  const top = Math.max(1, Math.floor(y0 * f));
  const xEnd = Math.min(w - 2, Math.ceil(x1 * f));
  const yEnd = Math.min(h - 2, Math.ceil(y1 * f));
  const most = Math.max(0, xEnd - left + 1) * Math.max(0, yEnd - top + 1);
  const xs = new Int32Array(most);
  const ys = new Int32Array(most);
  const gs = new Float64Array(most);
  const cells = new Int32Array(most);
  const crossings = new Float64Array(polygon.length);
  let count = 0;
  for (let y = top; y <= yEnd; y++) {
    const py = (y + 0.5) / f;
    const row = Math.min(rows - 1, Math.max(0, Math.floor(((py - y0) / (y1 - y0)) * rows))) * columns;
    // Where the row meets the outline: a pixel left of an odd number of these is inside.
    let met = 0;
    for (let i = 0, j = polygon.length - 1; i < polygon.length; j = i++) {
      const [xi, yi] = polygon[i]!;
      const [xj, yj] = polygon[j]!;
      if (yi > py !== yj > py) crossings[met++] = ((xj - xi) * (py - yi)) / (yj - yi) + xi;
    }
    for (let x = left; x <= xEnd; x++) {
      const px = (x + 0.5) / f;
      const o = y * w + x;
      if (!(data[o]! > 0.004 && data[o]! < 0.985)) continue;
      let odd = false;
      for (let k = 0; k < met; k++) if (px < crossings[k]!) odd = !odd;
      if (!odd || (belongs !== null && !belongs(px, py, 1.5 / f))) continue;
      const gx = 0.5 * (data[o + 1]! - data[o - 1]!);
      const gy = 0.5 * (data[o + w]! - data[o - w]!);
      xs[count] = x;
      ys[count] = y;
      gs[count] = gx * gx + gy * gy;
      cells[count++] = row + Math.min(columns - 1, Math.max(0, Math.floor(((px - x0) / (x1 - x0)) * columns)));
    }
  }
  return { count, x: xs, y: ys, g: gs, cell: cells };
}

/** Middle of each cell's pixels in template coordinates, 2 · cells. */
export function middlesOf(
  pixels: Pixels,
  cells: number,
  { f, cx, cy, scale }: { readonly f: number; readonly cx: number; readonly cy: number; readonly scale: number },
): Float32Array {
  const out = new Float32Array(2 * cells);
  const counts = new Float32Array(cells);
  for (let k = 0; k < pixels.count; k++) {
    const c = pixels.cell[k]!;
    out[2 * c] = out[2 * c]! + ((pixels.x[k]! + 0.5) / f - cx) / scale;
    out[2 * c + 1] = out[2 * c + 1]! + ((pixels.y[k]! + 0.5) / f - cy) / scale;
    counts[c] = counts[c]! + 1;
  }
  for (let c = 0; c < cells; c++) for (const k of [2 * c, 2 * c + 1]) out[k] = out[k]! / Math.max(1, counts[c]!);
  return out;
}

/** In each cell the pixels of strongest gradient, `limit` in all, in scan order. */
export function selectPixels(inside: Pixels, cells: number, limit: number): Pixels {
  const { count, x, y, g, cell } = inside;
  if (count <= limit) return inside;
  const share = limit / count;
  const starts = new Int32Array(cells + 1);
  for (let k = 0; k < count; k++) starts[cell[k]! + 1] = starts[cell[k]! + 1]! + 1;
  for (let c = 0; c < cells; c++) starts[c + 1] = starts[c + 1]! + starts[c]!;
  const sorted = new Float64Array(count);
  const next = starts.slice();
  for (let k = 0; k < count; k++) {
    const c = cell[k]!;
    sorted[next[c]!] = g[k]!;
    next[c] = next[c]! + 1;
  }
  const threshold = Float64Array.from({ length: cells }, (_, c) => {
    const own = sorted.subarray(starts[c], starts[c + 1]).sort();
    const n = own.length;
    return own[n - 1 - Math.max(0, Math.min(n - 1, Math.floor(n * share) - 1))] ?? Infinity;
  });
  let kept = 0;
  for (let k = 0; k < count; k++) {
    if (!(g[k]! >= threshold[cell[k]!]!)) continue;
    x[kept] = x[k]!;
    y[kept] = y[k]!;
    cell[kept++] = cell[k]!;
  }
  return { count: kept, x, y, g, cell };
}
