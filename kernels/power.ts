// Powers of four floats at once: log2 by the atanh series of the mantissa, exp2 by a polynomial; relative
// error below 2e-6 over the range of pictures. On them: toe-and-power transfer curves and the ASC CDL.
// Twins: encodePlane / decodePlane and applyCdlPicture.

// @ts-ignore: decorator
@inline
export function log2x4(x: v128): v128 {
  // x > 0. Mantissa to [sqrt(1/2), sqrt(2)).
  const bits = i32x4.sub(x, i32x4.splat(0x3f3504f3));
  const e = i32x4.shr_s(bits, 23);
  const m = i32x4.sub(x, i32x4.shl(e, 23));
  const one = f32x4.splat(1);
  const s = f32x4.div(f32x4.sub(m, one), f32x4.add(m, one));
  const s2 = f32x4.mul(s, s);
  // 2 / ln 2 · (s + s³/3 + s⁵/5 + s⁷/7)
  let p = f32x4.splat(0.41219858);
  p = f32x4.add(f32x4.mul(p, s2), f32x4.splat(0.57707801));
  p = f32x4.add(f32x4.mul(p, s2), f32x4.splat(0.96179669));
  p = f32x4.add(f32x4.mul(p, s2), f32x4.splat(2.88539008));
  return f32x4.add(f32x4.convert_i32x4_s(e), f32x4.mul(p, s));
}

// @ts-ignore: decorator
@inline
export function exp2x4(x: v128): v128 {
  const c = f32x4.min(f32x4.max(x, f32x4.splat(-126)), f32x4.splat(127));
  const n = f32x4.nearest(c);
  const f = f32x4.sub(c, n);
  let p = f32x4.splat(1.5403530e-4);
  p = f32x4.add(f32x4.mul(p, f), f32x4.splat(1.3333558e-3));
  p = f32x4.add(f32x4.mul(p, f), f32x4.splat(9.6181291e-3));
  p = f32x4.add(f32x4.mul(p, f), f32x4.splat(5.5504109e-2));
  p = f32x4.add(f32x4.mul(p, f), f32x4.splat(2.4022651e-1));
  p = f32x4.add(f32x4.mul(p, f), f32x4.splat(6.9314718e-1));
  p = f32x4.add(f32x4.mul(p, f), f32x4.splat(1));
  return i32x4.add(p, i32x4.shl(i32x4.trunc_sat_f32x4_s(n), 23));
}

// @ts-ignore: decorator
@inline
function pow4(x: v128, g: v128): v128 {
  // Zero and below give zero.
  const safe = f32x4.max(x, f32x4.splat(1e-30));
  return v128.and(exp2x4(f32x4.mul(g, log2x4(safe))), f32x4.gt(x, f32x4.splat(1e-30)));
}

// @ts-ignore: decorator
@inline
export function loadTail(p: usize, n: i32): v128 {
  if (n >= 4) return v128.load(p);
  let r = f32x4.splat(load<f32>(p));
  if (n > 1) r = f32x4.replace_lane(r, 1, load<f32>(p, 4));
  if (n > 2) r = f32x4.replace_lane(r, 2, load<f32>(p, 8));
  return r;
}

// @ts-ignore: decorator
@inline
export function storeTail(p: usize, n: i32, v: v128): void {
  if (n >= 4) { v128.store(p, v); return; }
  store<f32>(p, f32x4.extract_lane(v, 0));
  if (n > 1) store<f32>(p, f32x4.extract_lane(v, 1), 4);
  if (n > 2) store<f32>(p, f32x4.extract_lane(v, 2), 8);
}

/**
 * Odd curve: |x| < cut: x · slope; else scaleIn·(|x| + offsetIn) to the power gamma, ·
 * scaleOut + offsetOut; sign of x. Items: 1024 values.
 */
export function powerCurve(
  src: usize, dst: usize, n: i32, cut: f32, slope: f32, offsetIn: f32, scaleIn: f32, gamma: f32, scaleOut: f32,
  offsetOut: f32, from: i32, to: i32, scratch: usize,
): void {
  const last = min(n, to << 10);
  const vc = f32x4.splat(cut), vs = f32x4.splat(slope), vo = f32x4.splat(offsetIn), vi = f32x4.splat(scaleIn);
  const vg = f32x4.splat(gamma), vso = f32x4.splat(scaleOut), voo = f32x4.splat(offsetOut);
  const sign = i32x4.splat(<i32>0x80000000);
  for (let i = from << 10; i < last; i += 4) {
    const p = <usize>i << 2;
    const v = loadTail(src + p, last - i);
    const a = f32x4.abs(v);
    const high = f32x4.add(f32x4.mul(pow4(f32x4.mul(f32x4.add(a, vo), vi), vg), vso), voo);
    const r = v128.bitselect(f32x4.mul(a, vs), high, f32x4.lt(a, vc));
    storeTail(dst + p, last - i, v128.or(r, v128.and(v, sign)));
  }
}

// @ts-ignore: decorator
@inline
function cdlChannel(v: v128, slope: v128, offset: v128, power: v128, plain: i32, clamp: i32): v128 {
  let t = f32x4.add(f32x4.mul(v, slope), offset);
  if (clamp != 0) t = f32x4.min(f32x4.max(t, f32x4.splat(0)), f32x4.splat(1));
  if (plain != 0) return t;
  return v128.bitselect(pow4(t, power), t, f32x4.gt(t, f32x4.splat(0)));
}

/**
 * ASC CDL on a planar picture; k: slope 3, offset 3, power 3, saturation as floats.
 * alpha: premultiplied by a fourth plane.
 */
export function cdl(
  src: usize, dst: usize, n: i32, k: usize, alpha: i32, clamp: i32, from: i32, to: i32, scratch: usize,
): void {
  const last = min(n, to << 10);
  const plane = <usize>n << 2;
  const s0 = f32x4.splat(load<f32>(k)), s1 = f32x4.splat(load<f32>(k, 4)), s2 = f32x4.splat(load<f32>(k, 8));
  const o0 = f32x4.splat(load<f32>(k, 12)), o1 = f32x4.splat(load<f32>(k, 16)), o2 = f32x4.splat(load<f32>(k, 20));
  const p0 = f32x4.splat(load<f32>(k, 24)), p1 = f32x4.splat(load<f32>(k, 28)), p2 = f32x4.splat(load<f32>(k, 32));
  const sat = f32x4.splat(load<f32>(k, 36));
  const l0 = i32(load<f32>(k, 24) == 1), l1 = i32(load<f32>(k, 28) == 1), l2 = i32(load<f32>(k, 32) == 1);
  const one = f32x4.splat(1), zero = f32x4.splat(0);
  for (let i = from << 10; i < last; i += 4) {
    const p = <usize>i << 2;
    const left = last - i;
    const a = alpha != 0 ? loadTail(src + 3 * plane + p, left) : one;
    const inv = alpha != 0 ? v128.and(f32x4.div(one, a), f32x4.gt(a, f32x4.splat(1e-6))) : one;
    let r = cdlChannel(f32x4.mul(loadTail(src + p, left), inv), s0, o0, p0, l0, clamp);
    let g = cdlChannel(f32x4.mul(loadTail(src + plane + p, left), inv), s1, o1, p1, l1, clamp);
    let b = cdlChannel(f32x4.mul(loadTail(src + 2 * plane + p, left), inv), s2, o2, p2, l2, clamp);
    const luma = f32x4.add(
      f32x4.add(f32x4.mul(r, f32x4.splat(0.2126)), f32x4.mul(g, f32x4.splat(0.7152))),
      f32x4.mul(b, f32x4.splat(0.0722)),
    );
    r = f32x4.add(luma, f32x4.mul(sat, f32x4.sub(r, luma)));
    g = f32x4.add(luma, f32x4.mul(sat, f32x4.sub(g, luma)));
    b = f32x4.add(luma, f32x4.mul(sat, f32x4.sub(b, luma)));
    if (clamp != 0) {
      r = f32x4.min(f32x4.max(r, zero), one);
      g = f32x4.min(f32x4.max(g, zero), one);
      b = f32x4.min(f32x4.max(b, zero), one);
    }
    storeTail(dst + p, left, f32x4.mul(r, a));
    storeTail(dst + plane + p, left, f32x4.mul(g, a));
    storeTail(dst + 2 * plane + p, left, f32x4.mul(b, a));
    if (alpha != 0) storeTail(dst + 3 * plane + p, left, a);
  }
}
