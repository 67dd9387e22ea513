// A frame's chroma as lines on its luma, row by row (see src/join/peel/coded-rgb.ts): luma averaged onto the chroma
// samples, and in 3 × 3 of these the slope of Cb and Cr on it. Twins: chromaOf and localSlopes there.
import { chromaRow, four, one } from './ycbcr';

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

/**
 * Two rows of bytes averaged onto left-sited chroma of 4:2:0: 1 2 1 across, the mean of the two down, in whole numbers.
 */
function lumaLeft(a: usize, b: usize, w: i32, cw: i32, scale: f32, bias: f32, out: usize): void {
  const vs = f32x4.splat(0.125 * scale), vb = f32x4.splat(bias);
  // The column before the first is the first again.
  let before = i16x8.splat(<i16>(<i32>load<u8>(a) + <i32>load<u8>(b)));
  let i = 0;
  for (; 2 * i + 16 <= w; i += 8) {
    const p = v128.load(a + <usize>(2 * i)), q = v128.load(b + <usize>(2 * i));
    const low = i16x8.add(i16x8.extend_low_i8x16_u(p), i16x8.extend_low_i8x16_u(q));
    const high = i16x8.add(i16x8.extend_high_i8x16_u(p), i16x8.extend_high_i8x16_u(q));
    const even = v128.shuffle<i16>(low, high, 0, 2, 4, 6, 8, 10, 12, 14);
    const odd = v128.shuffle<i16>(low, high, 1, 3, 5, 7, 9, 11, 13, 15);
    const sum = i16x8.add(
      i16x8.add(v128.shuffle<i16>(before, odd, 7, 8, 9, 10, 11, 12, 13, 14), odd),
      i16x8.add(even, even),
    );
    const o = out + (<usize>i << 2);
    v128.store(o, f32x4.add(f32x4.mul(f32x4.convert_i32x4_u(i32x4.extend_low_i16x8_u(sum)), vs), vb));
    v128.store(o, f32x4.add(f32x4.mul(f32x4.convert_i32x4_u(i32x4.extend_high_i16x8_u(sum)), vs), vb), 16);
    before = odd;
  }
  for (; i < cw; i++) {
    const l = <usize>max(2 * i - 1, 0), c = <usize>(2 * i), r = <usize>min(2 * i + 1, w - 1);
    const sum = <i32>load<u8>(a + l) + <i32>load<u8>(b + l) + 2 * (<i32>load<u8>(a + c) + <i32>load<u8>(b + c))
      + <i32>load<u8>(a + r) + <i32>load<u8>(b + r);
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
      v = 0.25
        * (
          load<f32>(s + (<usize>max(c - 1, 0) << 2)) + 2 * load<f32>(s + (<usize>c << 2))
            + load<f32>(s + (<usize>min(c + 1, w - 1) << 2))
        );
    }
    store<f32>(out + (<usize>i << 2), v);
  }
}

/**
 * Luma averaged onto the chroma samples of chroma row j, into `out`. `row`: room for w
 * + 8 floats, from one float before on.
 */
function lumaOn(
  yp: usize, w: i32, h: i32, cw: i32, sx: i32, sy: i32, deep: i32, k: usize, j: i32, row: usize, out: usize,
): void {
  const ys = load<f32>(k), yo = load<f32>(k, 4), siteX = load<f32>(k, 32), siteY = load<f32>(k, 36);
  const between = Mathf.floor(siteY) != siteY;
  if (deep == 0 && sx == 1 && sy == 1 && siteX == 0 && between) {
    lumaLeft(yp + <usize>(2 * j * w), yp + <usize>(min(2 * j + 1, h - 1) * w), w, cw, ys, yo, out);
    return;
  }
  if (sy == 0) lumaRow(yp, w, j, ys, yo, deep, true, row);
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
  store<f32>(row - 4, load<f32>(row));
  onto(row, w, out, cw, sx, siteX);
}

/**
 * Luma averaged onto the chroma samples, Cb and Cr, three planes of cw × ch. Items: chroma rows. k as in
 * ycbcrToRgb. Scratch: w + 16 and cw + 32 floats.
 */
export function peelChroma(
  yp: usize, up: usize, vp: usize, out: usize, w: i32, h: i32, sx: i32, sy: i32, deep: i32, k: usize, from: i32,
  to: i32, scratch: usize,
): void {
  const cw = (w + (1 << sx) - 1) >> sx, ch = (h + (1 << sy) - 1) >> sy;
  const plane = <usize>cw * <usize>ch << 2;
  const cs = load<f32>(k, 8), bias = -load<f32>(k, 12) * cs;
  const row = scratch + 16, chroma = scratch + (<usize>(w + 16) << 2) + 16;
  for (let j = from; j < to; j++) {
    const to4 = <usize>(j * cw) << 2;
    lumaOn(yp, w, h, cw, sx, sy, deep, k, j, row, out + to4);
    chromaRow(up, j * cw, j * cw, cw, deep, cs, 0, bias, chroma);
    memory.copy(out + plane + to4, chroma, <usize>cw << 2);
    chromaRow(vp, j * cw, j * cw, cw, deep, cs, 0, bias, chroma);
    memory.copy(out + 2 * plane + to4, chroma, <usize>cw << 2);
  }
}

/**
 * Where the rows of a `lines` work space lie, in bytes from its begin: its frame, then
 * luma's row, sums, chroma's rows, lines.
 */
const HEAD: usize = 64, ROWS: usize = 4, LINES: usize = 2;

/** Bytes from row to row of chroma's samples and lines: four floats before the first, twelve after the last. */
// @ts-ignore: decorator
@inline
export function strideOf(cw: i32): usize {
  return <usize>(cw + 16) << 2;
}

/**
 * Sets up a work space at s for the chroma lines of a frame, which come row by row (`linesAt`): chroma as lines on
 * luma, of which whole planes would cost more to write and read again than to work out. k as in ycbcrToRgb. Returns how
 * many bytes it takes: 64 + 4 (w + 16) + 4 (cw + 16) · 26.
 */
export function openLines(
  s: usize, yp: usize, up: usize, vp: usize, w: i32, h: i32, sx: i32, sy: i32, deep: i32, k: usize, floor: f32,
): usize {
  const cw = (w + (1 << sx) - 1) >> sx;
  store<u32>(s, <u32>yp); store<u32>(s, <u32>up, 4); store<u32>(s, <u32>vp, 8);
  store<i32>(s, w, 12); store<i32>(s, h, 16); store<i32>(s, sx, 20); store<i32>(s, sy, 24); store<i32>(s, deep, 28);
  store<u32>(s, <u32>k, 32); store<f32>(s, floor, 36);
  // The last rows of chroma and of lines that are there.
  store<i32>(s, -2, 40); store<i32>(s, -2, 44);
  return HEAD + (<usize>(w + 16) << 2) + strideOf(cw) * (6 + 3 * ROWS + 4 * LINES);
}

/**
 * Slope of each chroma on luma in 3 × 3 samples of chroma row j and its value at luma 0: four rows (slopeB, slopeR,
 * baseB, baseR), as far apart as `strideOf` says. Rows are asked for in order, each as often as wanted.
 */
export function linesAt(s: usize, j: i32): usize {
  const w = load<i32>(s, 12), h = load<i32>(s, 16), sx = load<i32>(s, 20);
  const sy = load<i32>(s, 24), deep = load<i32>(s, 28), k = <usize>load<u32>(s, 32);
  const cw = (w + (1 << sx) - 1) >> sx, ch = (h + (1 << sy) - 1) >> sy, cs = strideOf(cw);
  const row = s + HEAD + 16, sums = s + HEAD + (<usize>(w + 16) << 2) + 16;
  const ring = sums + 6 * cs, lines = ring + 3 * ROWS * cs;
  const out = lines + <usize>(j & 1) * 4 * cs;
  const made = load<i32>(s, 44);
  if (made == j || made == j + 1) return out;
  const ya = max(j - 1, 0), yb = min(j + 1, ch - 1), scale = load<f32>(k, 8), bias = -load<f32>(k, 12) * scale;
  for (let y = max(ya, load<i32>(s, 40) + 1); y <= yb; y++) {
    const to = ring + <usize>(y & 3) * 3 * cs;
    lumaOn(<usize>load<u32>(s), w, h, cw, sx, sy, deep, k, y, row, to);
    chromaRow(<usize>load<u32>(s, 4), y * cw, y * cw, cw, deep, scale, 0, bias, to + cs);
    chromaRow(<usize>load<u32>(s, 8), y * cw, y * cw, cw, deep, scale, 0, bias, to + 2 * cs);
  }
  store<i32>(s, yb, 40);
  slopeRows(ring, ya, j, yb, cw, cs, load<f32>(s, 36), sums, out);
  store<i32>(s, j, 44);
  return out;
}

/** The lines of chroma row y from the rows ya to yb about it. */
function slopeRows(ring: usize, ya: i32, y: i32, yb: i32, w: i32, cs: usize, floor: f32, s: usize, out: usize): void {
  const rows = <f32>(yb - ya + 1);
  for (let x = 0; x < w; x += 4) {
    let sl = f32x4.splat(0), sll = sl, sb = sl, sr = sl, slb = sl, slr = sl;
    for (let v = ya; v <= yb; v++) {
      const p = ring + <usize>(v & 3) * 3 * cs + (<usize>x << 2);
      const l = v128.load(p), b = v128.load(p + cs), r = v128.load(p + 2 * cs);
      sl = f32x4.add(sl, l);
      sll = f32x4.add(sll, f32x4.mul(l, l));
      sb = f32x4.add(sb, b);
      sr = f32x4.add(sr, r);
      slb = f32x4.add(slb, f32x4.mul(l, b));
      slr = f32x4.add(slr, f32x4.mul(l, r));
    }
    const q = s + (<usize>x << 2);
    v128.store(q, sl);
    v128.store(q + cs, sll);
    v128.store(q + 2 * cs, sb);
    v128.store(q + 3 * cs, sr);
    v128.store(q + 4 * cs, slb);
    v128.store(q + 5 * cs, slr);
  }
  for (let f: usize = 0; f < 6; f++) {
    store<f32>(s + f * cs - 4, 0);
    store<f32>(s + f * cs + (<usize>w << 2), 0);
  }
  const inner: f32 = 1 / (3 * rows);
  const outer: f32 = 1 / (rows * (w == 1 ? <f32>1 : <f32>2));
  const mid = ring + <usize>(y & 3) * 3 * cs;
  for (let x = 0; x < w; x += 4) {
    const q = s + (<usize>x << 2);
    let m = f32x4.splat(inner);
    if (x == 0) m = f32x4.replace_lane(m, 0, outer);
    if (x + 4 >= w) {
      const last = w - 1 - x;
      m = last == 0
        ? f32x4.replace_lane(m, 0, outer)
        : last == 1
        ? f32x4.replace_lane(m, 1, outer)
        : last == 2
        ? f32x4.replace_lane(m, 2, outer)
        : f32x4.replace_lane(m, 3, outer);
    }
    const sl = three(q, m), sll = three(q + cs, m), sb = three(q + 2 * cs, m);
    const sr = three(q + 3 * cs, m), slb = three(q + 4 * cs, m), slr = three(q + 5 * cs, m);
    const inverse = f32x4.div(f32x4.splat(1), f32x4.add(f32x4.sub(sll, f32x4.mul(sl, sl)), f32x4.splat(floor)));
    const kb = f32x4.mul(f32x4.sub(slb, f32x4.mul(sl, sb)), inverse);
    const kr = f32x4.mul(f32x4.sub(slr, f32x4.mul(sl, sr)), inverse);
    const p = mid + (<usize>x << 2), l = v128.load(p);
    const o = out + (<usize>x << 2);
    // Rows have room for a whole group.
    v128.store(o, kb);
    v128.store(o + cs, kr);
    v128.store(o + 2 * cs, f32x4.sub(v128.load(p + cs), f32x4.mul(kb, l)));
    v128.store(o + 3 * cs, f32x4.sub(v128.load(p + 2 * cs), f32x4.mul(kr, l)));
  }
}

/** Repeats the ends of a row of n beside it, as mixRow leaves them. */
// @ts-ignore: decorator
@inline
function repeatEnds(row: usize, n: i32): void {
  store<f32>(row - 4, load<f32>(row));
  const last = load<f32>(row + (<usize>(n - 1) << 2));
  for (let k = 0; k < 8; k++) store<f32>(row + (<usize>(n + k) << 2), last);
}

/**
 * The same as mixLines into rows as far apart as the work space's own (`strideOf`); where chroma's row lies at `at`
 * itself its own rows are told, and nothing is copied. Returns where the rows lie.
 */
// @ts-ignore: decorator
@inline
export function linesBetween(s: usize, at: f32, cw: i32, ch: i32, room: usize): usize {
  const a = <i32>at, cs = strideOf(cw);
  if (at != <f32>a) {
    mixLines(s, at, cw, ch, room, cs);
    return room;
  }
  const p = linesAt(s, a);
  for (let f: usize = 0; f < 4; f++) repeatEnds(p + f * cs, cw);
  return p;
}

/** Four rows of lines at chroma row `at`, between its two neighbours, into rows `stride` bytes apart, ends repeated. */
// @ts-ignore: decorator
@inline
export function mixLines(s: usize, at: f32, cw: i32, ch: i32, out: usize, stride: usize): void {
  const a = <i32>at, t = at - <f32>a, cs = strideOf(cw);
  const p = linesAt(s, a), q = t == 0 ? p : linesAt(s, min(a + 1, ch - 1));
  for (let f: usize = 0; f < 4; f++) mixRow(p + f * cs, q + f * cs, t, cw, out + f * stride);
}

// @ts-ignore: decorator
@inline
function three(q: usize, m: v128): v128 {
  return f32x4.mul(f32x4.add(f32x4.add(v128.load(q - 4), v128.load(q)), v128.load(q + 4)), m);
}

// @ts-ignore: decorator
@inline
function mixRow(a: usize, b: usize, t: f32, n: i32, out: usize): void {
  if (t == 0) b = a;
  const vt = f32x4.splat(t);
  for (let x = 0; x < n; x += 4) {
    const p = <usize>x << 2;
    const v = v128.load(a + p);
    v128.store(out + p, f32x4.add(v, f32x4.mul(f32x4.sub(v128.load(b + p), v), vt)));
  }
  repeatEnds(out, n);
}
