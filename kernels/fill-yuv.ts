// Display-coded R'G'B' floats to Y'CbCr codes of 8 or 16 bits. Sums go in doubles and are kept as floats between, as in
// the plain twins in src/media/encode-planes.ts, so that the codes are the same to the last one. Items are rows.

// @ts-ignore: decorator
@inline
function high(v: v128): v128 {
  return f64x2.promote_low_f32x4(v128.shuffle<f64>(v, v, 1, 1));
}

// @ts-ignore: decorator
@inline
function both(lo: v128, hi: v128): v128 {
  return v128.shuffle<f32>(f32x4.demote_f64x2_zero(lo), f32x4.demote_f64x2_zero(hi), 0, 1, 4, 5);
}

/** Four floats times scale plus bias, held within low and high and cut off, as whole numbers. */
// @ts-ignore: decorator
@inline
function codes(v: v128, scale: v128, bias: v128, low: v128, top: v128): v128 {
  const a = f64x2.add(f64x2.mul(f64x2.promote_low_f32x4(v), scale), bias);
  const b = f64x2.add(f64x2.mul(high(v), scale), bias);
  const p = i32x4.trunc_sat_f64x2_s_zero(f64x2.pmin(top, f64x2.pmax(low, a)));
  const q = i32x4.trunc_sat_f64x2_s_zero(f64x2.pmin(top, f64x2.pmax(low, b)));
  return v128.shuffle<f32>(p, q, 0, 1, 4, 5);
}

/** Up to four codes laid down. */
// @ts-ignore: decorator
@inline
function lay(to: usize, i: i32, v: v128, left: i32, deep: i32): void {
  if (left >= 4) {
    const words = i16x8.narrow_i32x4_u(v, v);
    if (deep != 0) v128.store64_lane(to + (<usize>i << 1), words, 0);
    else v128.store32_lane(to + <usize>i, i8x16.narrow_i16x8_u(words, words), 0);
    return;
  }
  for (let k = 0; k < left; k++) {
    const c = k == 0 ? i32x4.extract_lane(v, 0) : k == 1 ? i32x4.extract_lane(v, 1) : i32x4.extract_lane(v, 2);
    if (deep != 0) store<u16>(to + (<usize>(i + k) << 1), <u16>c);
    else store<u8>(to + <usize>(i + k), <u8>c);
  }
}

function layRow(src: usize, n: i32, scale: f64, bias: f64, low: f64, top: f64, to: usize, deep: i32): void {
  const vs = f64x2.splat(scale), vb = f64x2.splat(bias), vl = f64x2.splat(low), vt = f64x2.splat(top);
  for (let x = 0; x < n; x += 4) lay(to, x, codes(v128.load(src + (<usize>x << 2)), vs, vb, vl, vt), n - x, deep);
}

/** 1-2-1 across at every 2^shift-th value, in place. */
function thin(row: usize, w: i32, cw: i32, shift: i32): void {
  let before = load<f32>(row);
  for (let x = 0; x < cw; x++) {
    const c = x << shift, centre = load<f32>(row + (<usize>c << 2));
    const value = 0.25
      * (<f64>(c > 0 ? before : centre) + <f64>(c + 1 < w ? load<f32>(row + (<usize>(c + 1) << 2)) : centre))
      + 0.5 * <f64>centre;
    // The value left of the next centre is read before this one may overwrite it.
    const next = ((x + 1) << shift) - 1;
    before = next < w ? load<f32>(row + (<usize>next << 2)) : 0;
    store<f32>(row + (<usize>x << 2), <f32>value);
  }
}

/**
 * Planes of w × h at `data`, `green` and `blue` bytes on from it, into tight planes of codes. k
 * (doubles): kr, kg, kb, luma's scale and bias, scales of Cb and Cr, their bias, lowest and highest code.
 * Items: rows of chroma. Scratch: 2 (w + 8) floats.
 */
export function fillYuv(
  data: usize, green: i32, blue: i32, w: i32, h: i32, sx: i32, sy: i32, deep: i32, k: usize, yp: usize, up: usize,
  vp: usize, from: i32, to: i32, scratch: usize,
): void {
  const kr = f64x2.splat(load<f64>(k)), kg = f64x2.splat(load<f64>(k, 8)), kb = f64x2.splat(load<f64>(k, 16));
  const ls = f64x2.splat(load<f64>(k, 24)), lb = f64x2.splat(load<f64>(k, 32));
  const low = load<f64>(k, 64), top = load<f64>(k, 72);
  const vl = f64x2.splat(low), vt = f64x2.splat(top);
  const lines = 1 << sy, cw = (w + (1 << sx) - 1) >> sx;
  const u = scratch, v = scratch + (<usize>(w + 8) << 2);
  for (let j = from; j < to; j++) {
    const first = j << sy, used = min(lines, h - first);
    memory.fill(u, 0, <usize>(w + 8) << 3);
    for (let i = 0; i < used; i++) {
      const line = (first + i) * w, p0 = data + (<usize>line << 2);
      for (let x = 0; x < w; x += 4) {
        const o = <usize>x << 2, p = p0 + o;
        const r = v128.load(p), g = v128.load(p + <usize>green), b = v128.load(p + <usize>blue);
        const r0 = f64x2.promote_low_f32x4(r), r1 = high(r), b0 = f64x2.promote_low_f32x4(b), b1 = high(b);
        const l0 = f64x2.add(
          f64x2.add(f64x2.mul(kr, r0), f64x2.mul(kg, f64x2.promote_low_f32x4(g))),
          f64x2.mul(kb, b0),
        );
        const l1 = f64x2.add(f64x2.add(f64x2.mul(kr, r1), f64x2.mul(kg, high(g))), f64x2.mul(kb, b1));
        const uu = v128.load(u + o), vv = v128.load(v + o);
        v128.store(
          u + o,
          both(f64x2.add(f64x2.promote_low_f32x4(uu), f64x2.sub(b0, l0)), f64x2.add(high(uu), f64x2.sub(b1, l1))),
        );
        v128.store(
          v + o,
          both(f64x2.add(f64x2.promote_low_f32x4(vv), f64x2.sub(r0, l0)), f64x2.add(high(vv), f64x2.sub(r1, l1))),
        );
        lay(yp, line + x, codes(both(l0, l1), ls, lb, vl, vt), w - x, deep);
      }
    }
    if (sx != 0) {
      thin(u, w, cw, sx);
      thin(v, w, cw, sx);
    }
    const at = <usize>(j * cw) << deep;
    layRow(u, cw, load<f64>(k, 40) / <f64>used, load<f64>(k, 56), low, top, up + at, deep);
    layRow(v, cw, load<f64>(k, 48) / <f64>used, load<f64>(k, 56), low, top, vp + at, deep);
  }
}

/** One plane of w × h values to codes. k (doubles): scale, bias, lowest and highest code. */
export function quantise(
  src: usize, w: i32, h: i32, deep: i32, k: usize, dst: usize, from: i32, to: i32, scratch: usize,
): void {
  for (let y = from; y < to; y++)
    layRow(
      src + (<usize>(y * w) << 2), w, load<f64>(k), load<f64>(k, 8), load<f64>(k, 16), load<f64>(k, 24),
      dst + (<usize>(y * w) << deep), deep,
    );
}
