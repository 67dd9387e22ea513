/**
 * Interpolation between pixels of a pyramid's level: nearest, bilinear, bicubic (Keys) and Lanczos-3, by weight tables.
 */
import { boundaryIndex, type Boundary } from './boundary.js';
import type { KernelScope } from './kernels.js';
import type { PyramidLevel } from './pyramid.js';
import { cubicWeights, lanczos3Weights } from './sampling.js';

/** Kernels that read between pixels. */
export type WarpFilter = 'nearest' | 'bilinear' | 'bicubic' | 'lanczos3';

/** Weight tables: row f of 256 holds the kernel at fraction f / 256. */
function weightTable(filter: WarpFilter): { radius: number; count: number; table: Float32Array } | null {
  if (filter === 'nearest' || filter === 'bilinear') return null;
  const count = filter === 'bicubic' ? 4 : 6;
  const table = new Float32Array(1025 * count);
  const w = new Float64Array(count);
  for (let i = 0; i <= 1024; i++) {
    if (filter === 'bicubic') cubicWeights(i / 1024, w);
    else lanczos3Weights(i / 1024, w);
    table.set(w, i * count);
  }
  return { radius: count / 2, count, table };
}

interface Sampler {
  (level: PyramidLevel, x: number, y: number): number;
}

/** Reads a level between its pixels; x, y in pixels of that level, pixel centres at +0.5. */
export function makeSampler(filter: WarpFilter, boundary: Boundary): Sampler {
  const at = (level: PyramidLevel, x: number, y: number): number => {
    const i = boundaryIndex(x, level.width, boundary);
    const j = boundaryIndex(y, level.height, boundary);
    return i < 0 || j < 0 ? 0 : level.data[j * level.width + i]!;
  };
  if (filter === 'nearest') return (level, x, y) => at(level, Math.floor(x), Math.floor(y));
  const tables = weightTable(filter);
  if (tables === null) {
    return (level, x, y) => {
      const u = x - 0.5;
      const v = y - 0.5;
      const fx = Math.floor(u);
      const fy = Math.floor(v);
      const ax = u - fx;
      const ay = v - fy;
      const top = at(level, fx, fy) * (1 - ax) + at(level, fx + 1, fy) * ax;
      const bottom = at(level, fx, fy + 1) * (1 - ax) + at(level, fx + 1, fy + 1) * ax;
      return top * (1 - ay) + bottom * ay;
    };
  }
  const { radius, count, table } = tables;
  return (level, x, y) => {
    const u = x - 0.5;
    const v = y - 0.5;
    const fx = Math.floor(u);
    const fy = Math.floor(v);
    const ox = Math.round((u - fx) * 1024) * count;
    const oy = Math.round((v - fy) * 1024) * count;
    let sum = 0;
    for (let j = 0; j < count; j++) {
      let row = 0;
      for (let i = 0; i < count; i++) row += table[ox + i]! * at(level, fx + i - radius + 1, fy + j - radius + 1);
      sum += table[oy + j]! * row;
    }
    return sum;
  };
}

/** Numbers of the filters as the kernels know them. */
export const FILTER_CODE: Record<WarpFilter, number> = { nearest: 0, bilinear: 1, bicubic: 2, lanczos3: 3 };

/** The weight table as the kernel reads it: rows of 4 or 8 floats. */
export function kernelTable(scope: KernelScope, filter: WarpFilter): number {
  const tables = weightTable(filter);
  if (tables === null) return 0;
  if (tables.count === 4) return scope.input(tables.table);
  const wide = new Float32Array(1025 * 8);
  for (let i = 0; i <= 1024; i++) wide.set(tables.table.subarray(6 * i, 6 * i + 6), 8 * i);
  return scope.input(wide);
}
