// Coarse fields between their cells' centres, bilinearly. Twin: resampleCellsPlain in src/join/peel/resample-cells.ts.
import { put } from './peel-light';

/**
 * Row y of coarse fields, `cell` pixels a cell and cell 0's centre at cell / 2 - offset: interpolated down into
 * `row`, `count` runs of gw + 8 floats, ends repeated.
 */
export function seekRow(fields: usize, gw: i32, gh: i32, cell: f32, offset: f32, y: i32, count: i32, row: usize): void {
  seekCells(fields, gw, gh, cell, offset, y, count, row, 0, gw);
}

/** The same for the cells c0 to c1 only, those of each four that hold them. */
export function seekCells(
  fields: usize, gw: i32, gh: i32, cell: f32, offset: f32, y: i32, count: i32, row: usize, c0: i32, c1: i32,
): void {
  const fy = min(max((<f32>y + offset) / cell - 0.5, <f32>0), <f32>(gh - 1));
  const y0 = <i32>fy, y1 = min(y0 + 1, gh - 1);
  const t = f32x4.splat(fy - <f32>y0);
  for (let p = 0; p < count; p++) {
    const a = fields + (<usize>((p * gh + y0) * gw) << 2), b = fields + (<usize>((p * gh + y1) * gw) << 2);
    const o = row + (<usize>(p * (gw + 8)) << 2);
    for (let x = c0 & ~3; x < min(c1, gw); x += 4) {
      const q = <usize>x << 2;
      const v = v128.load(a + q);
      v128.store(o + q, f32x4.add(v, f32x4.mul(f32x4.sub(v128.load(b + q), v), t)));
    }
    if (c1 >= gw) store<f32>(o + (<usize>gw << 2), load<f32>(o + (<usize>(gw - 1) << 2)));
  }
}

/** Four values between cells of one run of `seekRow`: `first` cell and `share` of the next a column. */
// @ts-ignore: decorator
@inline
export function acrossRow(row: usize, first: usize, share: v128): v128 {
  let a = v128.load64_zero(row + (<usize>load<i32>(first) << 2));
  a = v128.load64_lane(row + (<usize>load<i32>(first, 4) << 2), a, 1);
  let b = v128.load64_zero(row + (<usize>load<i32>(first, 8) << 2));
  b = v128.load64_lane(row + (<usize>load<i32>(first, 12) << 2), b, 1);
  const low = v128.shuffle<f32>(a, b, 0, 2, 4, 6), high = v128.shuffle<f32>(a, b, 1, 3, 5, 7);
  return f32x4.add(low, f32x4.mul(f32x4.sub(high, low), share));
}

/**
 * Coarse fields at every pixel of the columns x0 to x1, times `gain` (same shape as dst) where that is not 0. Items:
 * rows from y0 on. `first` and `share` have w + 4 entries. Scratch: count (gw + 8) floats.
 */
export function cellResample(
  fields: usize, gw: i32, gh: i32, cell: f32, offset: f32, w: i32, h: i32, x0: i32, x1: i32, y0: i32, count: i32,
  first: usize, share: usize, gain: usize, dst: usize, from: i32, to: i32, scratch: usize,
): void {
  for (let y = y0 + from; y < y0 + to; y++) {
    seekRow(fields, gw, gh, cell, offset, y, count, scratch);
    for (let p = 0; p < count; p++) {
      const row = scratch + (<usize>(p * (gw + 8)) << 2);
      const at = <usize>((p * h + y) * w) << 2;
      for (let x = x0; x < x1; x += 4) {
        const q = <usize>x << 2;
        let v = acrossRow(row, first + q, v128.load(share + q));
        if (gain != 0) v = f32x4.mul(v, v128.load(gain + at + q));
        put(dst + at + q, v, x1 - x);
      }
    }
  }
}
