// Porter-Duff on premultiplied planar pictures: co = cs Fa + cb Fb with Fa = a0 + a1·ab, Fb = b0 + b1·as. Items are
// blocks of 1024 pixels. sa, ba, oa: does source, backdrop, result have an alpha plane. Twin: compositePlain.

export function composite(
  s: usize, b: usize, o: usize, n: i32, sa: i32, ba: i32, oa: i32, a0: f32, a1: f32, b0: f32, b1: f32, from: i32,
  to: i32, scratch: usize,
): void {
  const first = from << 10, last = min(n, to << 10);
  const plane = <usize>n << 2;
  const va0 = f32x4.splat(a0), va1 = f32x4.splat(a1), vb0 = f32x4.splat(b0);
  const vb1 = f32x4.splat(b1), one = f32x4.splat(1);
  let i = first;
  for (; i + 4 <= last; i += 4) {
    const p = <usize>i << 2;
    const as = sa != 0 ? v128.load(s + 3 * plane + p) : one;
    const ab = ba != 0 ? v128.load(b + 3 * plane + p) : one;
    const fa = f32x4.add(va0, f32x4.mul(va1, ab)), fb = f32x4.add(vb0, f32x4.mul(vb1, as));
    for (let c: usize = 0; c < 3; c++) {
      const q = c * plane + p;
      v128.store(o + q, f32x4.add(f32x4.mul(v128.load(s + q), fa), f32x4.mul(v128.load(b + q), fb)));
    }
    if (oa != 0) v128.store(o + 3 * plane + p, f32x4.add(f32x4.mul(as, fa), f32x4.mul(ab, fb)));
  }
  for (; i < last; i++) {
    const p = <usize>i << 2;
    const as: f32 = sa != 0 ? load<f32>(s + 3 * plane + p) : 1;
    const ab: f32 = ba != 0 ? load<f32>(b + 3 * plane + p) : 1;
    const fa = a0 + a1 * ab, fb = b0 + b1 * as;
    for (let c: usize = 0; c < 3; c++) {
      const q = c * plane + p;
      store<f32>(o + q, load<f32>(s + q) * fa + load<f32>(b + q) * fb);
    }
    if (oa != 0) store<f32>(o + 3 * plane + p, as * fa + ab * fb);
  }
}

/** Colour planes times alpha (mode 0) or divided by it (mode 1: 0 where alpha ≤ 1e-6). */
export function premultiply(s: usize, o: usize, n: i32, mode: i32, from: i32, to: i32, scratch: usize): void {
  const first = from << 10, last = min(n, to << 10);
  const plane = <usize>n << 2;
  for (let i = first; i < last; i += 4) {
    const p = <usize>i << 2;
    if (i + 4 <= last) {
      const a = v128.load(s + 3 * plane + p);
      const k = mode == 0 ? a : v128.and(f32x4.div(f32x4.splat(1), a), f32x4.gt(a, f32x4.splat(1e-6)));
      for (let c: usize = 0; c < 3; c++) v128.store(o + c * plane + p, f32x4.mul(v128.load(s + c * plane + p), k));
      v128.store(o + 3 * plane + p, a);
    } else {
      for (let j = i; j < last; j++) {
        const q = <usize>j << 2;
        const a = load<f32>(s + 3 * plane + q);
        const k: f32 = mode == 0 ? a : a > <f32>1e-6 ? <f32>1 / a : <f32>0;
        for (let c: usize = 0; c < 3; c++) store<f32>(o + c * plane + q, load<f32>(s + c * plane + q) * k);
        store<f32>(o + 3 * plane + q, a);
      }
    }
  }
}
