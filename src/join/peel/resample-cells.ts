/** Bilinear interpolation of fields between the centres of a coarse grid's cells, clamped at the picture's edge. */
import { kernels } from '../../image/kernels.js';
import type { CellGrid } from './local-unmix.js';
import { ownFloats, type Floats } from './work-space.js';

/** The cell left of every column and the share of the next, as the kernels read them: four entries to spare. */
export interface ColumnTaps {
  readonly first: Int32Array;
  readonly share: Float32Array;
}

/** @param offset where column 0 lies in cell 0: cell 0's centre is at column cell / 2 - offset */
export function columnTaps(
  width: number,
  cell: number,
  gridWidth: number,
  floats: Floats = ownFloats,
  offset = 0.5,
): ColumnTaps {
  const share = floats(width + 4);
  const own = floats(width + 4);
  const first = new Int32Array(own.buffer, own.byteOffset, width + 4);
  for (let x = 0; x < width + 4; x += 1) {
    const f = Math.min(Math.max((x + offset) / cell - 0.5, 0), gridWidth - 1);
    first[x] = f | 0;
    share[x] = f - (f | 0);
  }
  return { first, share };
}

export interface ResampleOptions {
  /** Multiplied in, same shape as the result. */
  readonly gain?: Float32Array;
  /** Part of the result that is filled, [x0, y0, x1, y1]; all of it unless told. */
  readonly box?: readonly [number, number, number, number];
  /** Where row 0 and column 0 lie in cell 0 (see `columnTaps`); 0.5 unless told: cells cover whole pixels. */
  readonly offsetX?: number;
  readonly offsetY?: number;
  readonly floats?: Floats;
}

/**
 * @param fields planar, `count` × grid
 * @param cell side of a cell in pixels of the result
 * @returns planar, count × height × width
 */
export function resampleCells(
  fields: Float32Array,
  grid: CellGrid,
  cell: number,
  width: number,
  height: number,
  count: number,
  dst?: Float32Array,
  options: ResampleOptions = {},
): Float32Array {
  const floats = options.floats ?? ownFloats;
  const out = dst ?? floats(count * width * height);
  const [x0, y0, x1, y1] = options.box ?? [0, 0, width, height];
  const taps = columnTaps(width, cell, grid.width, floats, options.offsetX);
  const door = kernels();
  const scope = door.scope();
  try {
    const gain = options.gain === undefined ? 0 : scope.input(options.gain);
    // What lies beside the box must come home unchanged.
    const at = door.owns(out) || options.box === undefined ? scope.output(out) : scope.input(out);
    door.run(
      'cellResample',
      [
        scope.input(fields),
        grid.width,
        grid.height,
        cell,
        options.offsetY ?? 0.5,
        width,
        height,
        x0,
        x1,
        y0,
        count,
        scope.input(taps.first),
        scope.input(taps.share),
        gain,
        at,
      ],
      y1 - y0,
      (x1 - x0) * count * 4,
      4 * count * (grid.width + 8) + 64,
    );
    if (!door.owns(out) && options.box !== undefined) out.set(door.view(at, out.length));
    scope.finish();
  } finally {
    scope.close();
  }
  return out;
}

/** Plain twin of the kernel. */
export function resampleCellsPlain(
  fields: Float32Array,
  grid: CellGrid,
  cell: number,
  width: number,
  height: number,
  count: number,
  dst: Float32Array = new Float32Array(count * width * height),
): Float32Array {
  const { width: gw, height: gh } = grid;
  const g = gw * gh;
  const n = width * height;
  const row = new Float32Array(gw);
  const { first, share } = columnTaps(width, cell, gw);
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
        const k = first[x]!;
        const c = row[k]!;
        dst[to + x] = c + (row[k + 1 < gw ? k + 1 : k]! - c) * share[x]!;
      }
    }
  }
  return dst;
}
