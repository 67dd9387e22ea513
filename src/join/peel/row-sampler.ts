/**
 * Coarse fields read at full resolution a row at a time: the row is interpolated down once, across only where it is
 * asked for. Bilinear between cell centres, clamped at the edge, like `resampleCells`.
 */
import type { CellGrid } from './local-unmix.js';

/** `seek` a row, then read `row` at `first` and `share` of a column (px of the full picture). */
export class RowSampler {
  /** First cell and share of the second for every column. */
  readonly first: Int32Array;
  readonly share: Float32Array;
  /** The row in hand: count × (grid width + 1), the last cell repeated so that first + 1 always exists. */
  readonly row: Float32Array;
  /** Stride between the fields of `row`. */
  readonly stride: number;
  private readonly fields: Float32Array;
  private readonly grid: CellGrid;
  private readonly cell: number;
  private readonly count: number;

  constructor(fields: Float32Array, grid: CellGrid, cell: number, width: number, count: number) {
    this.fields = fields;
    this.grid = grid;
    this.cell = cell;
    this.count = count;
    this.stride = grid.width + 1;
    this.row = new Float32Array(count * this.stride);
    this.first = new Int32Array(width);
    this.share = new Float32Array(width);
    for (let x = 0; x < width; x += 1) {
      const f = Math.min(Math.max((x + 0.5) / cell - 0.5, 0), grid.width - 1);
      this.first[x] = f | 0;
      this.share[x] = f - (f | 0);
    }
  }

  /** Brings picture row y into `row`. */
  seek(y: number): void {
    const { width: gw, height: gh } = this.grid;
    const f = Math.min(Math.max((y + 0.5) / this.cell - 0.5, 0), gh - 1);
    const y0 = f | 0;
    const t = f - y0;
    const y1 = Math.min(y0 + 1, gh - 1);
    for (let p = 0; p < this.count; p += 1) {
      const a = p * gw * gh + y0 * gw;
      const b = p * gw * gh + y1 * gw;
      const o = p * this.stride;
      for (let x = 0; x < gw; x += 1)
        this.row[o + x] = this.fields[a + x]! + (this.fields[b + x]! - this.fields[a + x]!) * t;
      this.row[o + gw] = this.row[o + gw - 1]!;
    }
  }
}
