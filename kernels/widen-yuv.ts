// Y'CbCr codes of 8 to 16 bits with small chroma to words of as many or more bits with chroma at full size, bilinear by
// where its samples sit. Items are rows. Twin: widenYuvPlain in src/media/widen-yuv.ts.
import { chromaRow, four, one, widen } from './ycbcr';

/** Floats (one half added already) cut off to whole numbers, held within low and high and laid down as words. */
function layWords(src: usize, n: i32, low: v128, top: v128, dst: usize): void {
  let x = 0;
  for (; x + 8 <= n; x += 8) {
    const p = src + (<usize>x << 2);
    const a = i32x4.trunc_sat_f32x4_s(f32x4.floor(v128.load(p)));
    const b = i32x4.trunc_sat_f32x4_s(f32x4.floor(v128.load(p, 16)));
    v128.store(
      dst + (<usize>x << 1),
      i16x8.narrow_i32x4_u(i32x4.min_s(top, i32x4.max_s(low, a)), i32x4.min_s(top, i32x4.max_s(low, b))),
    );
  }
  const least = i32x4.extract_lane(low, 0), most = i32x4.extract_lane(top, 0);
  for (; x < n; x++)
    store<u16>(dst + (<usize>x << 1), <u16>min(most, max(least, <i32>Mathf.floor(load<f32>(src + (<usize>x << 2))))));
}

/** `times` from codes of the source's depth to those of the other's. Scratch: 2 (cw + 16) + (w + 16) floats. */
export function widenYuv(
  yp: usize, up: usize, vp: usize, yo: usize, uo: usize, vo: usize, w: i32, h: i32, sx: i32, sy: i32, deep: i32,
  times: f32, siteX: f32, siteY: f32, low: i32, high: i32, from: i32, to: i32, scratch: usize,
): void {
  const cw = (w + (1 << sx) - 1) >> sx, ch = (h + (1 << sy) - 1) >> sy, cell = <f32>(1 << sy);
  const row = scratch + 16, wide = row + (<usize>(cw + 16) << 2) + 16;
  const vt = f32x4.splat(times), half = f32x4.splat(<f32>0.5), least = i32x4.splat(low), most = i32x4.splat(high);
  for (let j = from; j < to; j++) {
    const line = j * w;
    let x = 0;
    for (; x + 4 <= w; x += 4)
      v128.store(wide + (<usize>x << 2), f32x4.add(f32x4.mul(four(yp, line + x, deep), vt), half));
    for (; x < w; x++) store<f32>(wide + (<usize>x << 2), one(yp, line + x, deep) * times + <f32>0.5);
    layWords(wide, w, least, most, yo + (<usize>line << 1));
    const t = (<f32>j - siteY) / cell, a = <i32>Mathf.floor(t), wb = (t - <f32>a) * times;
    const above = min(ch - 1, max(0, a)) * cw, below = min(ch - 1, max(0, a + 1)) * cw;
    for (let p = 0; p < 2; p++) {
      chromaRow(p == 0 ? up : vp, above, below, cw, deep, times - wb, wb, <f32>0.5, row);
      if (sx != 0) widen(row, wide, w, cw, sx, siteX);
      layWords(sx != 0 ? wide : row, w, least, most, (p == 0 ? uo : vo) + (<usize>line << 1));
    }
  }
}

// @ts-ignore: decorator
@inline
function laid(v: v128, scale: v128, bias: v128, low: v128, top: v128): v128 {
  const code = i32x4.trunc_sat_f32x4_s(f32x4.floor(f32x4.add(f32x4.mul(v, scale), bias)));
  return i32x4.min_s(top, i32x4.max_s(low, code));
}

// @ts-ignore: decorator
@inline
function layFour(to: usize, codes: v128, where: v128): void {
  v128.store64_lane(to, v128.bitselect(i16x8.narrow_i32x4_u(codes, codes), v128.load64_zero(to), where), 0);
}

/**
 * 4:4:4 words of display-coded values (three planes of w × h at `coded`) wherever `changed` is not 0, into planes whose
 * rows are `stride` words apart. k: kr, kg, kb, luma's scale and bias, scales of Cb and Cr, their bias. Items are rows.
 */
export function layFull(
  coded: usize, changed: usize, w: i32, h: i32, yo: usize, uo: usize, vo: usize, stride: i32, k: usize, low: i32,
  high: i32, from: i32, to: i32, scratch: usize,
): void {
  const plane = <usize>(w * h) << 2;
  const kr = load<f32>(k), kg = load<f32>(k, 4), kb = load<f32>(k, 8), ls = load<f32>(k, 12);
  const lb = load<f32>(k, 16), us = load<f32>(k, 20), vs = load<f32>(k, 24), cb = load<f32>(k, 28);
  const wr = f32x4.splat(kr), wg = f32x4.splat(kg), wb = f32x4.splat(kb);
  const least = i32x4.splat(low), most = i32x4.splat(high), zero = i16x8.splat(0);
  const lumaScale = f32x4.splat(ls), lumaBias = f32x4.splat(lb), cbScale = f32x4.splat(us);
  const crScale = f32x4.splat(vs), chromaBias = f32x4.splat(cb);
  for (let y = from; y < to; y++) {
    const row = changed + <usize>(y * w), light = coded + (<usize>(y * w) << 2), at = <usize>(y * stride) << 1;
    let x = 0;
    for (; x + 4 <= w; x += 4) {
      if (load<u32>(row + x) == 0) continue;
      const where = i16x8.ne(i16x8.extend_low_i8x16_u(v128.load32_zero(row + x)), zero);
      const p = light + (<usize>x << 2), o = at + (<usize>x << 1);
      const r = v128.load(p), b = v128.load(p + 2 * plane);
      const l = f32x4.add(f32x4.add(f32x4.mul(wr, r), f32x4.mul(wg, v128.load(p + plane))), f32x4.mul(wb, b));
      layFour(yo + o, laid(l, lumaScale, lumaBias, least, most), where);
      layFour(uo + o, laid(f32x4.sub(b, l), cbScale, chromaBias, least, most), where);
      layFour(vo + o, laid(f32x4.sub(r, l), crScale, chromaBias, least, most), where);
    }
    for (; x < w; x++) {
      if (load<u8>(row + x) == 0) continue;
      const p = light + (<usize>x << 2), o = at + (<usize>x << 1);
      const r = load<f32>(p), b = load<f32>(p + 2 * plane), l = kr * r + kg * load<f32>(p + plane) + kb * b;
      store<u16>(yo + o, <u16>min(high, max(low, <i32>Mathf.floor(l * ls + lb))));
      store<u16>(uo + o, <u16>min(high, max(low, <i32>Mathf.floor((b - l) * us + cb))));
      store<u16>(vo + o, <u16>min(high, max(low, <i32>Mathf.floor((r - l) * vs + cb))));
    }
  }
}
