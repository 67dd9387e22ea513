/** Where on an outline most of a reading is. */
import type { Box } from '../../join/ground/ground.js';

/** Side of a cell in which the worst place is told, px. */
const CELL = 24;

/** Sums by cells of the picture. `x0`, `y0`: the corner that places are counted from. */
export class EdgePlaces {
  private readonly sums = new Map<number, number>();
  private readonly x0: number;
  private readonly y0: number;

  constructor(x0: number, y0: number) {
    this.x0 = x0;
    this.y0 = y0;
  }

  add(x: number, y: number, value: number): void {
    const key = Math.floor(y / CELL) * 4096 + Math.floor(x / CELL);
    this.sums.set(key, (this.sums.get(key) ?? 0) + value);
  }

  /** The cell with the largest sum of the sign, in the picture. */
  most(sign: number, width: number, height: number): Box {
    let best = 0,
      value = -Infinity;
    for (const [key, v] of this.sums)
      if (sign * v > value) {
        value = sign * v;
        best = key;
      }
    const x = this.x0 + CELL * (best % 4096),
      y = this.y0 + CELL * Math.floor(best / 4096);
    return [x, y, Math.min(width, x + CELL), Math.min(height, y + CELL)];
  }
}
