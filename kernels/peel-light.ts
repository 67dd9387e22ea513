// A take's Y'CbCr planes to scene-linear RGB with chroma as sharp as luma, and its block means on the way.
// Twins: codedRgb and smallLinearPlain in src/join/peel/.
import { byTable, curveByTable } from './curve-table';
import { mixLines, openLines } from './peel-lines';
import { four, one, widen } from './ycbcr';

/** Stores up to four values. */
// @ts-ignore: decorator
@inline
export function put(p: usize, v: v128, n: i32): void {
  if (n >= 4) { v128.store(p, v); return; }
  store<f32>(p, f32x4.extract_lane(v, 0));
  if (n > 1) store<f32>(p, f32x4.extract_lane(v, 1), 4);
  if (n > 2) store<f32>(p, f32x4.extract_lane(v, 2), 8);
}

/** Adds one row to another, or puts it there. */
function addRow(row: usize, w: i32, sums: usize, first: bool): void {
  if (first) {
    memory.copy(sums, row, <usize>w << 2);
    return;
  }
  for (let x = 0; x < w; x += 4) {
    const p = <usize>x << 2;
    v128.store(sums + p, f32x4.add(v128.load(sums + p), v128.load(row + p)));
  }
}

/** Column sums of one row of blocks to the blocks' means. */
export function meanBlocks(sums: usize, w: i32, block: i32, rows: i32, sw: i32, out: usize): void {
  const each: f32 = 1 / <f32>(rows * block);
  let s = 0;
  if (block == 1) {
    for (; s + 4 <= sw; s += 4)
      v128.store(out + (<usize>s << 2), f32x4.mul(f32x4.splat(each), v128.load(sums + (<usize>s << 2))));
  } else if (block == 2) {
    for (; 2 * s + 8 <= w; s += 4) {
      const a = v128.load(sums + (<usize>s << 3)), b = v128.load(sums + (<usize>s << 3), 16);
      v128.store(
        out + (<usize>s << 2),
        f32x4.mul(
          f32x4.splat(each),
          f32x4.add(v128.shuffle<f32>(a, b, 0, 2, 4, 6), v128.shuffle<f32>(a, b, 1, 3, 5, 7)),
        ),
      );
    }
  } else if (block == 4) {
    for (; 4 * s + 16 <= w; s += 4) {
      const p = sums + (<usize>s << 4);
      const a = v128.load(p), b = v128.load(p, 16), c = v128.load(p, 32), d = v128.load(p, 48);
      const ab = f32x4.add(v128.shuffle<f32>(a, b, 0, 2, 4, 6), v128.shuffle<f32>(a, b, 1, 3, 5, 7));
      const cd = f32x4.add(v128.shuffle<f32>(c, d, 0, 2, 4, 6), v128.shuffle<f32>(c, d, 1, 3, 5, 7));
      v128.store(
        out + (<usize>s << 2),
        f32x4.mul(
          f32x4.splat(each),
          f32x4.add(v128.shuffle<f32>(ab, cd, 0, 2, 4, 6), v128.shuffle<f32>(ab, cd, 1, 3, 5, 7)),
        ),
      );
    }
  }
  for (; s < sw; s++) {
    const end = min((s + 1) * block, w);
    let v: f32 = 0;
    for (let x = s * block; x < end; x++) v += load<f32>(sums + (<usize>x << 2));
    store<f32>(out + (<usize>s << 2), v * (end - s * block == block ? each : <f32>1 / <f32>(rows * (end - s * block))));
  }
}

/** Block means of three planes. Items: rows of blocks. Scratch: w + 8 floats. */
export function blockMeans(
  src: usize, w: i32, h: i32, block: i32, small: usize, sw: i32, sh: i32, from: i32, to: i32, scratch: usize,
): void {
  for (let j = from; j < to; j++) {
    const y0 = j * block, y1 = min(y0 + block, h);
    for (let p = 0; p < 3; p++) {
      for (let y = y0; y < y1; y++) addRow(src + (<usize>((p * h + y) * w) << 2), w, scratch, y == y0);
      meanBlocks(scratch, w, block, y1 - y0, sw, small + (<usize>((p * sh + j) * sw) << 2));
    }
  }
}

/**
 * Linear RGB from luma and chroma's lines on it, and its block means. Items: rows of blocks. k
 * as in ycbcrToRgb; `floor` as in linesAt; table 0 leaves the values coded. Scratch: 4 (cw +
 * 16) + 7 (w + 16) floats and a work space of lines.
 */
export function peelLinear(
  yp: usize, up: usize, vp: usize, floor: f32, out: usize, w: i32, h: i32, sx: i32, sy: i32, deep: i32, k: usize,
  table: usize, lo: f32, steps: f32, count: i32, block: i32, small: usize, sw: i32, sh: i32, from: i32, to: i32,
  scratch: usize,
): void {
  const cw = (w + (1 << sx) - 1) >> sx, ch = (h + (1 << sy) - 1) >> sy;
  const plane = <usize>w * <usize>h << 2;
  const ys = f32x4.splat(load<f32>(k)), yo = f32x4.splat(load<f32>(k, 4));
  const rv = f32x4.splat(load<f32>(k, 16)), gu = f32x4.splat(load<f32>(k, 20));
  const gv = f32x4.splat(load<f32>(k, 24)), bu = f32x4.splat(load<f32>(k, 28));
  const siteX = load<f32>(k, 32), siteY = load<f32>(k, 36);
  const cs = <usize>(cw + 16) << 2, ws = <usize>(w + 16) << 2;
  const narrow = scratch + 16, wide = scratch + 4 * cs, sums = wide + 4 * ws, chroma = sums + 3 * ws;
  openLines(chroma, yp, up, vp, w, h, sx, sy, deep, k, floor);
  const cell = <f32>(1 << sy);
  const rows = sx == 0 ? narrow : wide, stride = sx == 0 ? cs : ws;
  const vlo = f32x4.splat(lo), vst = f32x4.splat(steps), top = f32x4.splat(<f32>count);
  for (let j = from; j < to; j++) {
    const y0 = j * block, y1 = min(y0 + block, h);
    for (let y = y0; y < y1; y++) {
      const at = min(max((<f32>y - (sy == 0 ? <f32>0 : siteY)) / cell, <f32>0), <f32>(ch - 1));
      mixLines(chroma, at, cw, ch, narrow, cs);
      if (sx != 0) for (let f: usize = 0; f < 4; f++) widen(narrow + f * cs, wide + f * ws, w, cw, sx, siteX);
      const line = y * w;
      const r0 = out + (<usize>line << 2);
      for (let x = 0; x < w; x += 4) {
        const p = <usize>x << 2;
        const left = w - x;
        let l: v128;
        if (left >= 4) l = four(yp, line + x, deep);
        else {
          l = f32x4.splat(one(yp, line + x, deep));
          if (left > 1) l = f32x4.replace_lane(l, 1, one(yp, line + x + 1, deep));
          if (left > 2) l = f32x4.replace_lane(l, 2, one(yp, line + x + 2, deep));
        }
        l = f32x4.add(f32x4.mul(l, ys), yo);
        const u = f32x4.add(v128.load(rows + 2 * stride + p), f32x4.mul(v128.load(rows + p), l));
        const v = f32x4.add(v128.load(rows + 3 * stride + p), f32x4.mul(v128.load(rows + stride + p), l));
        let r = f32x4.add(l, f32x4.mul(rv, v)), g = f32x4.add(l, f32x4.add(f32x4.mul(gu, u), f32x4.mul(gv, v)));
        let b = f32x4.add(l, f32x4.mul(bu, u));
        if (table != 0) {
          r = byTable(r, table, vlo, vst, top);
          g = byTable(g, table, vlo, vst, top);
          b = byTable(b, table, vlo, vst, top);
        }
        put(r0 + p, r, left);
        put(r0 + plane + p, g, left);
        put(r0 + 2 * plane + p, b, left);
        // The sums of the block's columns, begun anew by its first row.
        const q = sums + p;
        v128.store(q, y == y0 ? r : f32x4.add(v128.load(q), r));
        v128.store(q + ws, y == y0 ? g : f32x4.add(v128.load(q + ws), g));
        v128.store(q + 2 * ws, y == y0 ? b : f32x4.add(v128.load(q + 2 * ws), b));
      }
    }
    for (let c = 0; c < 3; c++)
      meanBlocks(sums + <usize>c * ws, w, block, y1 - y0, sw, small + (<usize>((c * sh + j) * sw) << 2));
  }
}

/** Linear RGB from planes of luma, Cb and Cr of one size (peelChroma's). Items: rows. k as in ycbcrToRgb. */
export function peelHalf(
  grid: usize, out: usize, w: i32, h: i32, k: usize, table: usize, lo: f32, steps: f32, count: i32, from: i32, to: i32,
  scratch: usize,
): void {
  const plane = <usize>w * <usize>h << 2;
  const rv = f32x4.splat(load<f32>(k, 16)), gu = f32x4.splat(load<f32>(k, 20));
  const gv = f32x4.splat(load<f32>(k, 24)), bu = f32x4.splat(load<f32>(k, 28));
  for (let y = from; y < to; y++) {
    const line = <usize>(y * w) << 2;
    for (let x = 0; x < w; x += 4) {
      const p = line + (<usize>x << 2);
      const l = v128.load(grid + p), u = v128.load(grid + plane + p), v = v128.load(grid + 2 * plane + p);
      const left = w - x;
      put(out + p, f32x4.add(l, f32x4.mul(rv, v)), left);
      put(out + plane + p, f32x4.add(l, f32x4.add(f32x4.mul(gu, u), f32x4.mul(gv, v))), left);
      put(out + 2 * plane + p, f32x4.add(l, f32x4.mul(bu, u)), left);
    }
    if (table != 0)
      for (let c: usize = 0; c < 3; c++)
        curveByTable(
          out + line + c * plane, out + line + c * plane, w, table, lo, steps, count, 0, 1, 0, (w + 1023) >> 10, 0,
        );
  }
}
