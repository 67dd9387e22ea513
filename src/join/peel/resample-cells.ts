/** Bilinear interpolation of fields between the centres of a coarse grid's cells, clamped at the picture's edge. */
import type { CellGrid } from './local-unmix.js';

/**
 * @param fields planar, `count` × grid
 * @param cell side of a cell in pixels of the result
 * @returns planar, count × height × width
 */
export function resampleCells(fields: Float32Array, grid: CellGrid, cell: number, width: number, height: number, count: number, dst: Float32Array = new Float32Array(count * width * height)): Float32Array {
  const { width: gw, height: gh } = grid;
  const g = gw * gh;
  const n = width * height;
  const row = new Float32Array(gw);
  const first = new Int32Array(width);
  const share = new Float64Array(width);
  for (let x = 0; x < width; x += 1) {
    const fx = Math.min(Math.max((x + 0.5) / cell - 0.5, 0), gw - 1);
    first[x] = fx | 0;
    share[x] = fx - (fx | 0);
  }
  for (let p = 0; p < count; p += 1) {
    for (let y = 0; y < height; y += 1) {
      const fy = Math.min(Math.max((y + 0.5) / cell - 0.5, 0), gh - 1);
      const y0 = fy | 0;
      const ty = fy - y0;
      const a = p * g + y0 * gw;
      const b = p * g + Math.min(y0 + 1, gh - 1) * gw;
      for (let x = 0; x < gw; x += 1) row[x] = fields[a + x]! + (fields[b + x]! - fields[a + x]!) * ty;
      const to = p * n + y * width;
      for (let x = 0; x < width; x += 1) {
        const x0 = first[x]!;
        const c = row[x0]!;
        dst[to + x] = c + (row[x0 + 1 < gw ? x0 + 1 : x0]! - c) * share[x]!;
      }
    }
  }
  return dst;
}
