// Y'CbCr planes of 8 or 16 bits to coded R'G'B' floats, chroma upsampled bilinearly by where its
// samples sit, and on from there to linear light by a table while the row is still in the cache. Items
// are rows. Twin: yuvToRgbPlain in src/media/ycbcr-to-rgb.ts.
import { byTable, curveByTable } from './curve-table';

// @ts-ignore: decorator
@inline
export function four(p: usize, i: i32, deep: i32): v128 {
  const bits = deep != 0
    ? i32x4.extend_low_i16x8_u(v128.load64_zero(p + (<usize>i << 1)))
    : i32x4.extend_low_i16x8_u(i16x8.extend_low_i8x16_u(v128.load32_zero(p + <usize>i)));
  return f32x4.convert_i32x4_u(bits);
}

// @ts-ignore: decorator
@inline
export function one(p: usize, i: i32, deep: i32): f32 {
  return deep != 0 ? <f32>load<u16>(p + (<usize>i << 1)) : <f32>load<u8>(p + <usize>i);
}

/** Lerp of two chroma rows, scaled and centred, into `out` with its end values repeated one sample beyond each end. */
export function chromaRow(p: usize, a: i32, b: i32, n: i32, deep: i32, wa: f32, wb: f32, bias: f32, out: usize): void {
  const va = f32x4.splat(wa), vb = f32x4.splat(wb), vc = f32x4.splat(bias);
  let x = 0;
  for (; x + 4 <= n; x += 4)
    v128.store(
      out + (<usize>x << 2),
      f32x4.add(f32x4.add(f32x4.mul(four(p, a + x, deep), va), f32x4.mul(four(p, b + x, deep), vb)), vc),
    );
  for (; x < n; x++) store<f32>(out + (<usize>x << 2), one(p, a + x, deep) * wa + one(p, b + x, deep) * wb + bias);
  store<f32>(out - 4, load<f32>(out));
  for (let k = 0; k < 8; k++) store<f32>(out + (<usize>(n + k) << 2), load<f32>(out + (<usize>(n - 1) << 2)));
}

/** Chroma row of cw samples to w: shift 0 is a copy, 1 the two-tap phases, more the general lerp. */
export function widen(src: usize, dst: usize, w: i32, cw: i32, shift: i32, site: f32): void {
  if (shift == 1) {
    const a: f32 = site * 0.5, b: f32 = 0.5 - a;
    const va = f32x4.splat(a), va1 = f32x4.splat(<f32>1 - a), vb = f32x4.splat(b), vb1 = f32x4.splat(<f32>1 - b);
    // dst has room for the last whole group.
    for (let k = 0; k < cw; k += 4) {
      const p = src + (<usize>k << 2);
      const c = v128.load(p);
      const even = f32x4.add(f32x4.mul(v128.load(p - 4), va), f32x4.mul(c, va1));
      const odd = f32x4.add(f32x4.mul(c, vb1), f32x4.mul(v128.load(p + 4), vb));
      v128.store(dst + (<usize>k << 3), v128.shuffle<f32>(even, odd, 0, 4, 1, 5));
      v128.store(dst + (<usize>k << 3) + 16, v128.shuffle<f32>(even, odd, 2, 6, 3, 7));
    }
    return;
  }
  const cell = <f32>(1 << shift);
  for (let x = 0; x < w; x++) {
    const t = (<f32>x - site) / cell;
    let k = <i32>Mathf.floor(t);
    const f = t - <f32>k;
    let n = k + 1;
    if (k < 0) k = 0;
    if (k >= cw) k = cw - 1;
    if (n < 0) n = 0;
    if (n >= cw) n = cw - 1;
    const l = load<f32>(src + (<usize>k << 2));
    store<f32>(dst + (<usize>x << 2), l + (load<f32>(src + (<usize>n << 2)) - l) * f);
  }
}

/**
 * k: yScale, yOffset, cScale, cMid, crToR, cbToG, crToG, cbToB, siteX, siteY. `table` 0 leaves the values coded, else
 * it has count + 2 knots from lo on, `steps` a unit. Scratch: 2 (cw + 16) + 2 (w + 16) floats.
 */
export function ycbcrToRgb(
  yp: usize, up: usize, vp: usize, out: usize, w: i32, h: i32, sx: i32, sy: i32, deep: i32, k: usize, table: usize,
  lo: f32, steps: f32, count: i32, from: i32, to: i32, scratch: usize,
): void {
  const cw = (w + (1 << sx) - 1) >> sx, ch = (h + (1 << sy) - 1) >> sy;
  const plane = <usize>w * <usize>h << 2;
  const ys = f32x4.splat(load<f32>(k)), yo = f32x4.splat(load<f32>(k, 4));
  const cScale = load<f32>(k, 8), bias = -load<f32>(k, 12) * cScale;
  const rv = f32x4.splat(load<f32>(k, 16)), gu = f32x4.splat(load<f32>(k, 20));
  const gv = f32x4.splat(load<f32>(k, 24)), bu = f32x4.splat(load<f32>(k, 28));
  const siteX = load<f32>(k, 32), siteY = load<f32>(k, 36);
  const u = scratch + 16, v = u + (<usize>(cw + 16) << 2);
  const uw = v + (<usize>(cw + 16) << 2), vw = uw + (<usize>(w + 16) << 2);
  const cell = <f32>(1 << sy);
  const vlo = f32x4.splat(lo), vst = f32x4.splat(steps), top = f32x4.splat(<f32>count);
  for (let j = from; j < to; j++) {
    const t = (<f32>j - siteY) / cell;
    let a = <i32>Mathf.floor(t);
    const f = t - <f32>a;
    let b = a + 1;
    if (a < 0) a = 0;
    if (a >= ch) a = ch - 1;
    if (b < 0) b = 0;
    if (b >= ch) b = ch - 1;
    const wb = f * cScale, wa = cScale - wb;
    chromaRow(up, a * cw, b * cw, cw, deep, wa, wb, bias, u);
    chromaRow(vp, a * cw, b * cw, cw, deep, wa, wb, bias, v);
    let ur = u, vr = v;
    if (sx != 0) {
      widen(u, uw, w, cw, sx, siteX);
      widen(v, vw, w, cw, sx, siteX);
      ur = uw;
      vr = vw;
    }
    const line = j * w;
    const r0 = out + (<usize>line << 2);
    let x = 0;
    for (; x + 4 <= w; x += 4) {
      const p = <usize>x << 2;
      const l = f32x4.add(f32x4.mul(four(yp, line + x, deep), ys), yo);
      const uu = v128.load(ur + p), vv = v128.load(vr + p);
      let r = f32x4.add(l, f32x4.mul(rv, vv)), g = f32x4.add(l, f32x4.add(f32x4.mul(gu, uu), f32x4.mul(gv, vv)));
      let b = f32x4.add(l, f32x4.mul(bu, uu));
      if (table != 0) {
        r = byTable(r, table, vlo, vst, top);
        g = byTable(g, table, vlo, vst, top);
        b = byTable(b, table, vlo, vst, top);
      }
      v128.store(r0 + p, r);
      v128.store(r0 + plane + p, g);
      v128.store(r0 + 2 * plane + p, b);
    }
    const rest = x;
    for (; x < w; x++) {
      const p = <usize>x << 2;
      const l = one(yp, line + x, deep) * f32x4.extract_lane(ys, 0) + f32x4.extract_lane(yo, 0);
      const uu = load<f32>(ur + p), vv = load<f32>(vr + p);
      store<f32>(r0 + p, l + f32x4.extract_lane(rv, 0) * vv);
      store<f32>(r0 + plane + p, l + (f32x4.extract_lane(gu, 0) * uu + f32x4.extract_lane(gv, 0) * vv));
      store<f32>(r0 + 2 * plane + p, l + f32x4.extract_lane(bu, 0) * uu);
    }
    if (table != 0 && rest < w) {
      for (let c: usize = 0; c < 3; c++) {
        const p = r0 + c * plane + (<usize>rest << 2);
        curveByTable(p, p, w - rest, table, lo, steps, count, 0, 1, 0, 1, 0);
      }
    }
  }
}
