// Box means by running sums in double precision. `boxAcross` takes rows from..to (four at a time, so that
// their dependent additions overlap); `boxDown` takes columns from..to, so that a column's sum runs unbroken whatever
// the number of workers. Twin: boxMeanPlain.

/**
 * Means over 2 r + 1 values along rows `from`..`to` of a plane of floats, `w` wide; beyond the border nothing counts.
 */
export function boxAcross(src: usize, dst: usize, w: i32, r: i32, from: i32, to: i32, scratch: usize): void {
  const stride = <usize>w << 2;
  let y = from;
  for (; y + 4 <= to; y += 4) {
    const s0 = src + <usize>y * stride, s1 = s0 + stride, s2 = s1 + stride, s3 = s2 + stride;
    const d0 = dst + <usize>y * stride, d1 = d0 + stride, d2 = d1 + stride, d3 = d2 + stride;
    let a0: f64 = 0, a1: f64 = 0, a2: f64 = 0, a3: f64 = 0;
    const lead = min(r, w);
    for (let x = 0; x < lead; x++) {
      const o = <usize>x << 2;
      a0 += <f64>load<f32>(s0 + o);
      a1 += <f64>load<f32>(s1 + o);
      a2 += <f64>load<f32>(s2 + o);
      a3 += <f64>load<f32>(s3 + o);
    }
    for (let x = 0; x < w; x++) {
      const a = x + r, b = x - r - 1;
      if (a < w) {
        const o = <usize>a << 2;
        a0 += <f64>load<f32>(s0 + o);
        a1 += <f64>load<f32>(s1 + o);
        a2 += <f64>load<f32>(s2 + o);
        a3 += <f64>load<f32>(s3 + o);
      }
      if (b >= 0) {
        const o = <usize>b << 2;
        a0 -= <f64>load<f32>(s0 + o);
        a1 -= <f64>load<f32>(s1 + o);
        a2 -= <f64>load<f32>(s2 + o);
        a3 -= <f64>load<f32>(s3 + o);
      }
      const k: f64 = 1.0 / <f64>(min(w - 1, a) - max(0, b + 1) + 1);
      const q = <usize>x << 2;
      store<f32>(d0 + q, <f32>(a0 * k));
      store<f32>(d1 + q, <f32>(a1 * k));
      store<f32>(d2 + q, <f32>(a2 * k));
      store<f32>(d3 + q, <f32>(a3 * k));
    }
  }
  // The rows of a group must not change the bytes of a row: a single row multiplies by the same reciprocal.
  for (; y < to; y++) {
    const s = src + <usize>y * stride, d = dst + <usize>y * stride;
    let sum: f64 = 0;
    const lead = min(r, w);
    for (let x = 0; x < lead; x++) sum += <f64>load<f32>(s + (<usize>x << 2));
    for (let x = 0; x < w; x++) {
      const a = x + r, b = x - r - 1;
      if (a < w) sum += <f64>load<f32>(s + (<usize>a << 2));
      if (b >= 0) sum -= <f64>load<f32>(s + (<usize>b << 2));
      const k: f64 = 1.0 / <f64>(min(w - 1, a) - max(0, b + 1) + 1);
      store<f32>(d + (<usize>x << 2), <f32>(sum * k));
    }
  }
}

/** The same down columns `from`..`to` of a plane of `w` × `h` floats. scratch: one double a column. */
export function boxDown(
  src: usize, dst: usize, w: i32, h: i32, r: i32, from: i32, to: i32, scratch: usize,
): void {
  // scratch: one double a column.
  const stride = <usize>w << 2;
  for (let x = from; x < to; x++) store<f64>(scratch + (<usize>(x - from) << 3), 0);
  const lead = min(r, h);
  for (let y = 0; y < lead; y++) {
    const s = src + <usize>y * stride;
    for (let x = from; x < to; x++) {
      const a = scratch + (<usize>(x - from) << 3);
      store<f64>(a, load<f64>(a) + <f64>load<f32>(s + (<usize>x << 2)));
    }
  }
  for (let y = 0; y < h; y++) {
    const add = y + r, sub = y - r - 1;
    const sa = src + <usize>min(add, h - 1) * stride, ss = src + <usize>max(sub, 0) * stride;
    const ka: f64 = add < h ? 1.0 : 0.0, ks: f64 = sub >= 0 ? 1.0 : 0.0;
    const va = f64x2.splat(ka), vs = f64x2.splat(ks);
    const k: f64 = 1.0 / <f64>(min(h - 1, add) - max(0, sub + 1) + 1);
    const vk = f64x2.splat(k);
    const d = dst + <usize>y * stride;
    let x = from;
    for (; x + 4 <= to; x += 4) {
      const acc = scratch + (<usize>(x - from) << 3);
      const o = <usize>x << 2;
      const pa = v128.load(sa + o), ps = v128.load(ss + o);
      let lo = v128.load(acc), hi = v128.load(acc, 16);
      lo = f64x2.add(
        lo,
        f64x2.sub(f64x2.mul(va, f64x2.promote_low_f32x4(pa)), f64x2.mul(vs, f64x2.promote_low_f32x4(ps))),
      );
      const pah = v128.shuffle<i32>(pa, pa, 2, 3, 2, 3), psh = v128.shuffle<i32>(ps, ps, 2, 3, 2, 3);
      hi = f64x2.add(
        hi,
        f64x2.sub(f64x2.mul(va, f64x2.promote_low_f32x4(pah)), f64x2.mul(vs, f64x2.promote_low_f32x4(psh))),
      );
      v128.store(acc, lo);
      v128.store(acc, hi, 16);
      const rl = f32x4.demote_f64x2_zero(f64x2.mul(lo, vk)), rh = f32x4.demote_f64x2_zero(f64x2.mul(hi, vk));
      v128.store(d + o, v128.shuffle<i32>(rl, rh, 0, 1, 4, 5));
    }
    for (; x < to; x++) {
      const acc = scratch + (<usize>(x - from) << 3);
      const o = <usize>x << 2;
      const v = load<f64>(acc) + (ka * <f64>load<f32>(sa + o) - ks * <f64>load<f32>(ss + o));
      store<f64>(acc, v);
      store<f32>(d + o, <f32>(v * k));
    }
  }
}
