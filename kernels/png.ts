// Planar floats 0..1 to the filtered bytes of a 16-bit PNG (PNG, W3C 2025, clauses 7.2 and 9.2: filter 1, the sample to
// the left, byte by byte), of a part of the picture alone; what lies beyond it is 0 and counted by deflateRows, not
// stored. Twin: packPlain in src/media/png-sequence.test.ts; held by other readers too.
import { betweenKnots } from './curve-table';

/** Eight 16-bit codes from eight values; NaN and what is below 0 give 0. */
// @ts-ignore: decorator
@inline
function codes(a: v128, b: v128): v128 {
  const full = f32x4.splat(65535), half = f32x4.splat(0.5);
  return i16x8.narrow_i32x4_u(
    i32x4.trunc_sat_f32x4_s(
      f32x4.add(f32x4.mul(a, full), half)
    ), i32x4.trunc_sat_f32x4_s(f32x4.add(f32x4.mul(b, full), half)));
}

/** Light to coded by a table of roots (curveByTable with root 1). */
// @ts-ignore: decorator
@inline
function coded(v: v128, table: usize, steps: v128, top: v128, odd: bool): v128 {
  const t = f32x4.pmin(top, f32x4.pmax(f32x4.splat(0), f32x4.mul(f32x4.sqrt(f32x4.abs(v)), steps)));
  const r = betweenKnots(t, table);
  return odd ? v128.or(r, v128.and(v, i32x4.splat(<i32>0x80000000))) : v128.andnot(r, f32x4.lt(v, f32x4.splat(0)));
}

/** Up to four values, 0 beyond. */
// @ts-ignore: decorator
@inline
function some(p: usize, n: i32): v128 {
  if (n >= 4) return v128.load(p);
  let v = f32x4.splat(0);
  if (n > 0) v = f32x4.replace_lane(v, 0, load<f32>(p));
  if (n > 1) v = f32x4.replace_lane(v, 1, load<f32>(p, 4));
  if (n > 2) v = f32x4.replace_lane(v, 2, load<f32>(p, 8));
  return v;
}

/**
 * Eight differences of codes to the one to the left, most significant byte first;
 * `before` holds that of lane 0 in its lane 7.
 */
// @ts-ignore: decorator
@inline
function differences(v: v128, before: v128): v128 {
  const d = i8x16.sub(v, v128.shuffle<u16>(before, v, 7, 8, 9, 10, 11, 12, 13, 14));
  return v128.shuffle<u8>(d, d, 1, 0, 3, 2, 5, 4, 7, 6, 9, 8, 11, 10, 13, 12, 15, 14);
}

/**
 * Columns x0 to x1, rows y0 to y1, of one or three planes; a pixel more than the part's width where the picture
 * goes on to the right (back to 0). A row takes `stride` bytes, 48 more than its pixels. table 0 takes the values
 * as coded, else as light. Items: rows of the part.
 */
export function pngPack(
  src: usize, w: i32, h: i32, channels: i32, x0: i32, y0: i32, x1: i32, table: usize, steps: f32, count: i32, odd: i32,
  dst: usize, stride: i32, from: i32, to: i32, scratch: usize,
): void {
  const plane = <usize>w * <usize>h << 2;
  const vst = f32x4.splat(steps), top = f32x4.splat(<f32>count), n = x1 - x0;
  // With one more, which is read as 0.
  const all = x1 < w ? n + 1 : n;
  for (let item = from; item < to; item++) {
    const line = src + (<usize>((y0 + item) * w + x0) << 2);
    let q = dst + <usize>item * <usize>stride;
    let before0 = i16x8.splat(0), before1 = i16x8.splat(0), before2 = i16x8.splat(0);
    for (let x = 0; x < all; x += 8) {
      const left = n - x;
      const p = line + (<usize>x << 2);
      let a = some(p, left), b = some(p + 16, left - 4);
      if (table != 0) { a = coded(a, table, vst, top, odd != 0); b = coded(b, table, vst, top, odd != 0); }
      const v0 = codes(a, b), d0 = differences(v0, before0);
      before0 = v0;
      if (channels == 1) {
        v128.store(q, d0);
        q += 16;
        continue;
      }
      a = some(p + plane, left); b = some(p + plane + 16, left - 4);
      if (table != 0) { a = coded(a, table, vst, top, odd != 0); b = coded(b, table, vst, top, odd != 0); }
      const v1 = codes(a, b), d1 = differences(v1, before1);
      before1 = v1;
      a = some(p + 2 * plane, left); b = some(p + 2 * plane + 16, left - 4);
      if (table != 0) { a = coded(a, table, vst, top, odd != 0); b = coded(b, table, vst, top, odd != 0); }
      const v2 = codes(a, b), d2 = differences(v2, before2);
      before2 = v2;
      // r0 g0 b0 r1 g1 b1 r2 g2 | b2 r3 g3 b3 r4 g4 b4 r5 | g5 b5 r6 g6 b6 r7 g7 b7
      const rg0 = v128.shuffle<u16>(d0, d1, 0, 8, 1, 9, 2, 10, 3, 11);
      const rg1 = v128.shuffle<u16>(d0, d1, 3, 11, 4, 12, 5, 13, 6, 14);
      const rg2 = v128.shuffle<u16>(d0, d1, 5, 13, 6, 14, 7, 15, 7, 15);
      v128.store(q, v128.shuffle<u16>(rg0, d2, 0, 1, 8, 2, 3, 9, 4, 5));
      v128.store(q + 16, v128.shuffle<u16>(rg1, d2, 10, 0, 1, 11, 2, 3, 12, 4));
      v128.store(q + 32, v128.shuffle<u16>(rg2, d2, 1, 13, 2, 3, 14, 4, 5, 15));
      q += 48;
    }
  }
}
