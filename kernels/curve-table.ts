// A curve as a table with linear interpolation, four values at a time: the two knots of each value come in one 64-bit
// load. Twin: lookUpPlain in src/media/curve-table.ts.

/** Four values of a table at knots t (within it), each between its two neighbours, which come in one 64-bit load. */
// @ts-ignore: decorator
@inline
export function betweenKnots(t: v128, table: usize): v128 {
  const k = i32x4.trunc_sat_f32x4_s(t);
  const f = f32x4.sub(t, f32x4.convert_i32x4_s(k));
  let a = v128.load64_zero(table + (<usize>i32x4.extract_lane(k, 0) << 2));
  a = v128.load64_lane(table + (<usize>i32x4.extract_lane(k, 1) << 2), a, 1);
  let b = v128.load64_zero(table + (<usize>i32x4.extract_lane(k, 2) << 2));
  b = v128.load64_lane(table + (<usize>i32x4.extract_lane(k, 3) << 2), b, 1);
  const low = v128.shuffle<f32>(a, b, 0, 2, 4, 6), high = v128.shuffle<f32>(a, b, 1, 3, 5, 7);
  return f32x4.add(low, f32x4.mul(f32x4.sub(high, low), f));
}

/** Four values through a table without a root: see curveByTable. */
// @ts-ignore: decorator
@inline
export function byTable(v: v128, table: usize, lo: v128, steps: v128, top: v128): v128 {
  return betweenKnots(f32x4.pmin(top, f32x4.pmax(f32x4.splat(0), f32x4.mul(f32x4.sub(v, lo), steps))), table);
}

/**
 * root 0: knot = (v - lo) · steps. root 1: knot = sqrt(|v|) · steps, the result takes the sign of
 * v (0 where `odd` is 0 and v is negative). Knots are held within 0..count; the table has count +
 * 2 values. Items: 1024 values. May work in place.
 */
export function curveByTable(
  src: usize, dst: usize, n: i32, table: usize, lo: f32, steps: f32, count: i32, root: i32, odd: i32, from: i32,
  to: i32, scratch: usize,
): void {
  const last = min(n, to << 10);
  const vlo = f32x4.splat(lo), vst = f32x4.splat(steps), zero = f32x4.splat(0), top = f32x4.splat(<f32>count);
  const sign = i32x4.splat(<i32>0x80000000);
  for (let i = from << 10; i < last; i += 4) {
    const p = <usize>i << 2;
    const left = last - i;
    let v: v128;
    if (left >= 4) v = v128.load(src + p);
    else {
      v = f32x4.splat(load<f32>(src + p));
      if (left > 1) v = f32x4.replace_lane(v, 1, load<f32>(src + p, 4));
      if (left > 2) v = f32x4.replace_lane(v, 2, load<f32>(src + p, 8));
    }
    const t0 = root != 0 ? f32x4.mul(f32x4.sqrt(f32x4.abs(v)), vst) : f32x4.mul(f32x4.sub(v, vlo), vst);
    // pmin and pmax are single instructions and send NaN to the bound.
    const t = f32x4.pmin(top, f32x4.pmax(zero, t0));
    let r = betweenKnots(t, table);
    if (root != 0) r = odd != 0 ? v128.or(r, v128.and(v, sign)) : v128.andnot(r, f32x4.lt(v, zero));
    if (left >= 4) v128.store(dst + p, r);
    else {
      store<f32>(dst + p, f32x4.extract_lane(r, 0));
      if (left > 1) store<f32>(dst + p, f32x4.extract_lane(r, 1), 4);
      if (left > 2) store<f32>(dst + p, f32x4.extract_lane(r, 2), 8);
    }
  }
}
