// A take's Y'CbCr planes to scene-linear RGB with chroma as sharp as luma, and its block means on the way.
// Twins: codedRgbPlain and smallLinearPlain in src/join/peel/.
import { byTable, curveByTable } from './curve-table';
import { chromaRow, four, one, widen } from './ycbcr';

/** Weighted sum of luma rows, coded 0..1, into `out` with the end values repeated beside it. */
function lumaRow(yp: usize, w: i32, y: i32, weight: f32, bias: f32, deep: i32, first: bool, out: usize): void {
  const line = y * w;
  const vw = f32x4.splat(weight), vb = f32x4.splat(bias);
  let x = 0;
  for (; x + 4 <= w; x += 4) {
    const p = out + (<usize>x << 2);
    v128.store(p, f32x4.add(first ? vb : v128.load(p), f32x4.mul(four(yp, line + x, deep), vw)));
  }
  for (; x < w; x++) {
    const p = out + (<usize>x << 2);
    store<f32>(p, (first ? bias : load<f32>(p)) + one(yp, line + x, deep) * weight);
  }
}

/** Two rows of bytes averaged onto left-sited chroma of 4:2:0: 1 2 1 across, the mean of the two down, in whole numbers. */
function lumaLeft(a: usize, b: usize, w: i32, cw: i32, scale: f32, bias: f32, out: usize): void {
  const vs = f32x4.splat(0.125 * scale), vb = f32x4.splat(bias);
  // The column before the first is the first again.
  let before = i16x8.splat(<i16>(<i32>load<u8>(a) + <i32>load<u8>(b)));
  let i = 0;
  for (; 2 * i + 16 <= w; i += 8) {
    const p = v128.load(a + <usize>(2 * i)), q = v128.load(b + <usize>(2 * i));
    const low = i16x8.add(i16x8.extend_low_i8x16_u(p), i16x8.extend_low_i8x16_u(q)), high = i16x8.add(i16x8.extend_high_i8x16_u(p), i16x8.extend_high_i8x16_u(q));
    const even = v128.shuffle<i16>(low, high, 0, 2, 4, 6, 8, 10, 12, 14), odd = v128.shuffle<i16>(low, high, 1, 3, 5, 7, 9, 11, 13, 15);
    const sum = i16x8.add(i16x8.add(v128.shuffle<i16>(before, odd, 7, 8, 9, 10, 11, 12, 13, 14), odd), i16x8.add(even, even));
    const o = out + (<usize>i << 2);
    v128.store(o, f32x4.add(f32x4.mul(f32x4.convert_i32x4_u(i32x4.extend_low_i16x8_u(sum)), vs), vb));
    v128.store(o, f32x4.add(f32x4.mul(f32x4.convert_i32x4_u(i32x4.extend_high_i16x8_u(sum)), vs), vb), 16);
    before = odd;
  }
  for (; i < cw; i++) {
    const l = <usize>max(2 * i - 1, 0), c = <usize>(2 * i), r = <usize>min(2 * i + 1, w - 1);
    const sum = <i32>load<u8>(a + l) + <i32>load<u8>(b + l) + 2 * (<i32>load<u8>(a + c) + <i32>load<u8>(b + c)) + <i32>load<u8>(a + r) + <i32>load<u8>(b + r);
    store<f32>(out + (<usize>i << 2), 0.125 * scale * <f32>sum + bias);
  }
}

/** One row averaged onto the chroma samples of it. `s` has its end values repeated beside it. */
function onto(s: usize, w: i32, out: usize, cw: i32, sx: i32, site: f32): void {
  if (sx == 0) {
    memory.copy(out, s, <usize>cw << 2);
    return;
  }
  const count = 1 << sx;
  const between = Mathf.floor(site) != site;
  const shift = <i32>Mathf.floor(site);
  let i = 0;
  if (sx == 1) {
    const half = f32x4.splat(0.5), quarter = f32x4.splat(0.25);
    for (; 2 * i + 10 <= w; i += 4) {
      const p = s + (<usize>(2 * i + (between ? 0 : shift)) << 2);
      const a = v128.load(p), b = v128.load(p, 16);
      const even = v128.shuffle<f32>(a, b, 0, 2, 4, 6), odd = v128.shuffle<f32>(a, b, 1, 3, 5, 7);
      if (between) v128.store(out + (<usize>i << 2), f32x4.mul(half, f32x4.add(even, odd)));
      else {
        const before = v128.shuffle<f32>(v128.load(p - 4), v128.load(p, 12), 0, 2, 4, 6);
        v128.store(out + (<usize>i << 2), f32x4.mul(quarter, f32x4.add(f32x4.add(before, odd), f32x4.add(even, even))));
      }
    }
  }
  for (; i < cw; i++) {
    const start = i * count;
    let v: f32 = 0;
    if (between) {
      for (let k = 0; k < count; k++) v += load<f32>(s + (<usize>min(start + k, w - 1) << 2));
      v /= <f32>count;
    } else {
      const c = min(start + shift, w - 1);
      v = 0.25 * (load<f32>(s + (<usize>max(c - 1, 0) << 2)) + 2 * load<f32>(s + (<usize>c << 2)) + load<f32>(s + (<usize>min(c + 1, w - 1) << 2)));
    }
    store<f32>(out + (<usize>i << 2), v);
  }
}

/**
 * Luma averaged onto the chroma samples, Cb and Cr, three planes of cw × ch. Items: chroma rows. k as in ycbcrToRgb. Scratch:
 * w + 16 and cw + 32 floats.
 */
export function peelChroma(yp: usize, up: usize, vp: usize, out: usize, w: i32, h: i32, sx: i32, sy: i32, deep: i32, k: usize, from: i32, to: i32, scratch: usize): void {
  const cw = (w + (1 << sx) - 1) >> sx, ch = (h + (1 << sy) - 1) >> sy;
  const plane = <usize>cw * <usize>ch << 2;
  const ys = load<f32>(k), yo = load<f32>(k, 4), cs = load<f32>(k, 8), bias = -load<f32>(k, 12) * cs;
  const siteX = load<f32>(k, 32), siteY = load<f32>(k, 36);
  const row = scratch + 16, chroma = scratch + (<usize>(w + 16) << 2) + 16;
  const between = Mathf.floor(siteY) != siteY;
  const usual = deep == 0 && sx == 1 && sy == 1 && siteX == 0 && between;
  for (let j = from; j < to; j++) {
    if (usual) lumaLeft(yp + <usize>(2 * j * w), yp + <usize>(min(2 * j + 1, h - 1) * w), w, cw, ys, yo, out + (<usize>(j * cw) << 2));
    else if (sy == 0) lumaRow(yp, w, j, ys, yo, deep, true, row);
    else if (between) {
      const count = 1 << sy;
      const each = ys / <f32>count;
      for (let i = 0; i < count; i++) lumaRow(yp, w, min(j * count + i, h - 1), each, yo, deep, i == 0, row);
    } else {
      const c = min((j << sy) + <i32>Mathf.floor(siteY), h - 1);
      lumaRow(yp, w, max(c - 1, 0), 0.25 * ys, yo, deep, true, row);
      lumaRow(yp, w, c, 0.5 * ys, yo, deep, false, row);
      lumaRow(yp, w, min(c + 1, h - 1), 0.25 * ys, yo, deep, false, row);
    }
    const to4 = <usize>(j * cw) << 2;
    if (!usual) {
      store<f32>(row - 4, load<f32>(row));
      onto(row, w, out + to4, cw, sx, siteX);
    }
    chromaRow(up, j * cw, j * cw, cw, deep, cs, 0, bias, chroma);
    memory.copy(out + plane + to4, chroma, <usize>cw << 2);
    chromaRow(vp, j * cw, j * cw, cw, deep, cs, 0, bias, chroma);
    memory.copy(out + 2 * plane + to4, chroma, <usize>cw << 2);
  }
}

/**
 * Slope of each chroma on luma in 3 × 3 samples and its value at luma 0: planes slopeB, slopeR, baseB, baseR. Items: rows.
 * Scratch: 6 (w + 8) floats.
 */
export function peelSlopes(grid: usize, out: usize, w: i32, h: i32, floor: f32, from: i32, to: i32, scratch: usize): void {
  const plane = <usize>w * <usize>h << 2;
  const stride = <usize>(w + 8) << 2;
  const s = scratch + 16;
  for (let y = from; y < to; y++) {
    const ya = max(y - 1, 0), yb = min(y + 1, h - 1);
    const rows = <f32>(yb - ya + 1);
    for (let x = 0; x < w; x += 4) {
      let sl = f32x4.splat(0), sll = sl, sb = sl, sr = sl, slb = sl, slr = sl;
      for (let v = ya; v <= yb; v++) {
        const p = grid + (<usize>(v * w + x) << 2);
        const l = v128.load(p), b = v128.load(p + plane), r = v128.load(p + 2 * plane);
        sl = f32x4.add(sl, l);
        sll = f32x4.add(sll, f32x4.mul(l, l));
        sb = f32x4.add(sb, b);
        sr = f32x4.add(sr, r);
        slb = f32x4.add(slb, f32x4.mul(l, b));
        slr = f32x4.add(slr, f32x4.mul(l, r));
      }
      const q = s + (<usize>x << 2);
      v128.store(q, sl);
      v128.store(q + stride, sll);
      v128.store(q + 2 * stride, sb);
      v128.store(q + 3 * stride, sr);
      v128.store(q + 4 * stride, slb);
      v128.store(q + 5 * stride, slr);
    }
    for (let f: usize = 0; f < 6; f++) {
      store<f32>(s + f * stride - 4, 0);
      store<f32>(s + f * stride + (<usize>w << 2), 0);
    }
    const line = <usize>(y * w) << 2;
    const inner: f32 = 1 / (3 * rows);
    const outer: f32 = 1 / (rows * (w == 1 ? <f32>1 : <f32>2));
    for (let x = 0; x < w; x += 4) {
      const q = s + (<usize>x << 2);
      let m = f32x4.splat(inner);
      if (x == 0) m = f32x4.replace_lane(m, 0, outer);
      if (x + 4 >= w) {
        const last = w - 1 - x;
        m = last == 0 ? f32x4.replace_lane(m, 0, outer) : last == 1 ? f32x4.replace_lane(m, 1, outer) : last == 2 ? f32x4.replace_lane(m, 2, outer) : f32x4.replace_lane(m, 3, outer);
      }
      const sl = three(q, m), sll = three(q + stride, m), sb = three(q + 2 * stride, m), sr = three(q + 3 * stride, m), slb = three(q + 4 * stride, m), slr = three(q + 5 * stride, m);
      const inverse = f32x4.div(f32x4.splat(1), f32x4.add(f32x4.sub(sll, f32x4.mul(sl, sl)), f32x4.splat(floor)));
      const kb = f32x4.mul(f32x4.sub(slb, f32x4.mul(sl, sb)), inverse);
      const kr = f32x4.mul(f32x4.sub(slr, f32x4.mul(sl, sr)), inverse);
      const p = grid + line + (<usize>x << 2);
      const l = v128.load(p);
      const o = out + line + (<usize>x << 2);
      const left = w - x;
      put(o, kb, left);
      put(o + plane, kr, left);
      put(o + 2 * plane, f32x4.sub(v128.load(p + plane), f32x4.mul(kb, l)), left);
      put(o + 3 * plane, f32x4.sub(v128.load(p + 2 * plane), f32x4.mul(kr, l)), left);
    }
  }
}

// @ts-ignore: decorator
@inline
function three(q: usize, m: v128): v128 {
  return f32x4.mul(f32x4.add(f32x4.add(v128.load(q - 4), v128.load(q)), v128.load(q + 4)), m);
}

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
    for (; s + 4 <= sw; s += 4) v128.store(out + (<usize>s << 2), f32x4.mul(f32x4.splat(each), v128.load(sums + (<usize>s << 2))));
  } else if (block == 2) {
    for (; 2 * s + 8 <= w; s += 4) {
      const a = v128.load(sums + (<usize>s << 3)), b = v128.load(sums + (<usize>s << 3), 16);
      v128.store(out + (<usize>s << 2), f32x4.mul(f32x4.splat(each), f32x4.add(v128.shuffle<f32>(a, b, 0, 2, 4, 6), v128.shuffle<f32>(a, b, 1, 3, 5, 7))));
    }
  } else if (block == 4) {
    for (; 4 * s + 16 <= w; s += 4) {
      const p = sums + (<usize>s << 4);
      const a = v128.load(p), b = v128.load(p, 16), c = v128.load(p, 32), d = v128.load(p, 48);
      const ab = f32x4.add(v128.shuffle<f32>(a, b, 0, 2, 4, 6), v128.shuffle<f32>(a, b, 1, 3, 5, 7));
      const cd = f32x4.add(v128.shuffle<f32>(c, d, 0, 2, 4, 6), v128.shuffle<f32>(c, d, 1, 3, 5, 7));
      v128.store(out + (<usize>s << 2), f32x4.mul(f32x4.splat(each), f32x4.add(v128.shuffle<f32>(ab, cd, 0, 2, 4, 6), v128.shuffle<f32>(ab, cd, 1, 3, 5, 7))));
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
export function blockMeans(src: usize, w: i32, h: i32, block: i32, small: usize, sw: i32, sh: i32, from: i32, to: i32, scratch: usize): void {
  for (let j = from; j < to; j++) {
    const y0 = j * block, y1 = min(y0 + block, h);
    for (let p = 0; p < 3; p++) {
      for (let y = y0; y < y1; y++) addRow(src + (<usize>((p * h + y) * w) << 2), w, scratch, y == y0);
      meanBlocks(scratch, w, block, y1 - y0, sw, small + (<usize>((p * sh + j) * sw) << 2));
    }
  }
}

// @ts-ignore: decorator
@inline
export function mixRow(a: usize, b: usize, t: f32, n: i32, out: usize): void {
  if (t == 0) b = a;
  const vt = f32x4.splat(t);
  for (let x = 0; x < n; x += 4) {
    const p = <usize>x << 2;
    const v = v128.load(a + p);
    v128.store(out + p, f32x4.add(v, f32x4.mul(f32x4.sub(v128.load(b + p), v), vt)));
  }
  store<f32>(out - 4, load<f32>(out));
  const last = load<f32>(out + (<usize>(n - 1) << 2));
  for (let k = 0; k < 8; k++) store<f32>(out + (<usize>(n + k) << 2), last);
}

/**
 * Linear RGB from luma and the chroma lines of peelSlopes, and its block means. Items: rows of blocks. k as in ycbcrToRgb;
 * table 0 leaves the values coded. Scratch: 4 (cw + 16) + 7 (w + 16) floats.
 */
export function peelLinear(yp: usize, lines: usize, out: usize, w: i32, h: i32, sx: i32, sy: i32, deep: i32, k: usize, table: usize, lo: f32, steps: f32, count: i32, block: i32, small: usize, sw: i32, sh: i32, from: i32, to: i32, scratch: usize): void {
  const cw = (w + (1 << sx) - 1) >> sx, ch = (h + (1 << sy) - 1) >> sy;
  const plane = <usize>w * <usize>h << 2, cplane = <usize>cw * <usize>ch << 2;
  const ys = f32x4.splat(load<f32>(k)), yo = f32x4.splat(load<f32>(k, 4));
  const rv = f32x4.splat(load<f32>(k, 16)), gu = f32x4.splat(load<f32>(k, 20)), gv = f32x4.splat(load<f32>(k, 24)), bu = f32x4.splat(load<f32>(k, 28));
  const siteX = load<f32>(k, 32), siteY = load<f32>(k, 36);
  const cs = <usize>(cw + 16) << 2, ws = <usize>(w + 16) << 2;
  const narrow = scratch + 16, wide = scratch + 4 * cs, sums = wide + 4 * ws;
  const cell = <f32>(1 << sy);
  const rows = sx == 0 ? narrow : wide, stride = sx == 0 ? cs : ws;
  const vlo = f32x4.splat(lo), vst = f32x4.splat(steps), top = f32x4.splat(<f32>count);
  for (let j = from; j < to; j++) {
    const y0 = j * block, y1 = min(y0 + block, h);
    for (let y = y0; y < y1; y++) {
      const at = min(max((<f32>y - (sy == 0 ? <f32>0 : siteY)) / cell, <f32>0), <f32>(ch - 1));
      const a = <i32>at, b = min(a + 1, ch - 1);
      for (let f: usize = 0; f < 4; f++) {
        mixRow(lines + f * cplane + (<usize>(a * cw) << 2), lines + f * cplane + (<usize>(b * cw) << 2), at - <f32>a, cw, narrow + f * cs);
        if (sx != 0) widen(narrow + f * cs, wide + f * ws, w, cw, sx, siteX);
      }
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
        let r = f32x4.add(l, f32x4.mul(rv, v)), g = f32x4.add(l, f32x4.add(f32x4.mul(gu, u), f32x4.mul(gv, v))), b = f32x4.add(l, f32x4.mul(bu, u));
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
    for (let c = 0; c < 3; c++) meanBlocks(sums + <usize>c * ws, w, block, y1 - y0, sw, small + (<usize>((c * sh + j) * sw) << 2));
  }
}

/** Linear RGB from planes of luma, Cb and Cr of one size (peelChroma's). Items: rows. k as in ycbcrToRgb. */
export function peelHalf(grid: usize, out: usize, w: i32, h: i32, k: usize, table: usize, lo: f32, steps: f32, count: i32, from: i32, to: i32, scratch: usize): void {
  const plane = <usize>w * <usize>h << 2;
  const rv = f32x4.splat(load<f32>(k, 16)), gu = f32x4.splat(load<f32>(k, 20)), gv = f32x4.splat(load<f32>(k, 24)), bu = f32x4.splat(load<f32>(k, 28));
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
    if (table != 0) for (let c: usize = 0; c < 3; c++) curveByTable(out + line + c * plane, out + line + c * plane, w, table, lo, steps, count, 0, 1, 0, (w + 1023) >> 10, 0);
  }
}
