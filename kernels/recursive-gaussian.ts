// Recursive Gaussian of third order in double precision; coefficients at `k`: b, a1, a2, a3, then the 3×3 end
// matrix. Across: rows from..to, two in one vector. Down: columns from..to in strips of eight, whose causal pass
// is kept in scratch. Twin: recursiveGaussianPlain.

// @ts-ignore: decorator
@inline
function end(k: usize, row: i32, e1: v128, e2: v128, e3: v128, last: v128): v128 {
  const m = k + 32 + <usize>(row * 24);
  const s = f64x2.add(
    f64x2.add(f64x2.mul(f64x2.splat(load<f64>(m)), e1), f64x2.mul(f64x2.splat(load<f64>(m, 8)), e2)),
    f64x2.mul(f64x2.splat(load<f64>(m, 16)), e3),
  );
  return f64x2.add(s, last);
}

// @ts-ignore: decorator
@inline
function step(b: v128, a1: v128, a2: v128, a3: v128, x: v128, u1: v128, u2: v128, u3: v128): v128 {
  // The long chain is through u1: add it last.
  return f64x2.add(f64x2.add(f64x2.mul(b, x), f64x2.add(f64x2.mul(a3, u3), f64x2.mul(a2, u2))), f64x2.mul(a1, u1));
}

/** scratch: 4 w doubles. Rows beyond `to` are not touched: the second row of a pair may repeat the first. */
export function recursiveAcross(src: usize, dst: usize, w: i32, k: usize, from: i32, to: i32, scratch: usize): void {
  const b = f64x2.splat(load<f64>(k)), a1 = f64x2.splat(load<f64>(k, 8));
  const a2 = f64x2.splat(load<f64>(k, 16)), a3 = f64x2.splat(load<f64>(k, 24));
  const stride = <usize>w << 2;
  for (let y = from; y < to; y += 4) {
    const r0 = <usize>y * stride, r1 = <usize>min(y + 1, to - 1) * stride;
    const r2 = <usize>min(y + 2, to - 1) * stride, r3 = <usize>min(y + 3, to - 1) * stride;
    const s0 = src + r0, s1 = src + r1, s2 = src + r2, s3 = src + r3;
    const f0 = f64x2.replace_lane(f64x2.splat(<f64>load<f32>(s0)), 1, <f64>load<f32>(s1));
    const f1 = f64x2.replace_lane(f64x2.splat(<f64>load<f32>(s2)), 1, <f64>load<f32>(s3));
    let u1 = f0, u2 = f0, u3 = f0, v1 = f1, v2 = f1, v3 = f1;
    let p = scratch;
    for (let x = 0; x < w; x++) {
      const o = <usize>x << 2;
      const x0 = f64x2.replace_lane(f64x2.splat(<f64>load<f32>(s0 + o)), 1, <f64>load<f32>(s1 + o));
      const x1 = f64x2.replace_lane(f64x2.splat(<f64>load<f32>(s2 + o)), 1, <f64>load<f32>(s3 + o));
      const u = step(b, a1, a2, a3, x0, u1, u2, u3);
      const v = step(b, a1, a2, a3, x1, v1, v2, v3);
      u3 = u2; u2 = u1; u1 = u;
      v3 = v2; v2 = v1; v1 = v;
      v128.store(p, u);
      v128.store(p, v, 16);
      p += 32;
    }
    const lo = <usize>(w - 1) << 2;
    const l0 = f64x2.replace_lane(f64x2.splat(<f64>load<f32>(s0 + lo)), 1, <f64>load<f32>(s1 + lo));
    const l1 = f64x2.replace_lane(f64x2.splat(<f64>load<f32>(s2 + lo)), 1, <f64>load<f32>(s3 + lo));
    const e1 = f64x2.sub(u1, l0), e2 = f64x2.sub(u2, l0), e3 = f64x2.sub(u3, l0);
    const g1 = f64x2.sub(v1, l1), g2 = f64x2.sub(v2, l1), g3 = f64x2.sub(v3, l1);
    u1 = end(k, 0, e1, e2, e3, l0); u2 = end(k, 1, e1, e2, e3, l0); u3 = end(k, 2, e1, e2, e3, l0);
    v1 = end(k, 0, g1, g2, g3, l1); v2 = end(k, 1, g1, g2, g3, l1); v3 = end(k, 2, g1, g2, g3, l1);
    const d0 = dst + r0, d1 = dst + r1, d2 = dst + r2, d3 = dst + r3;
    for (let x = w - 1; x >= 0; x--) {
      p -= 32;
      const u = step(b, a1, a2, a3, v128.load(p), u1, u2, u3);
      const v = step(b, a1, a2, a3, v128.load(p, 16), v1, v2, v3);
      u3 = u2; u2 = u1; u1 = u;
      v3 = v2; v2 = v1; v1 = v;
      const o = <usize>x << 2;
      store<f32>(d0 + o, <f32>f64x2.extract_lane(u, 0));
      store<f32>(d1 + o, <f32>f64x2.extract_lane(u, 1));
      store<f32>(d2 + o, <f32>f64x2.extract_lane(v, 0));
      store<f32>(d3 + o, <f32>f64x2.extract_lane(v, 1));
    }
  }
}

/**
 * scratch: 4 h doubles. Strips of four columns; the last strip is shifted left so that it is whole (w of 4 or more).
 */
export function recursiveDown(
  src: usize, dst: usize, w: i32, h: i32, k: usize, from: i32, to: i32, scratch: usize,
): void {
  const b = f64x2.splat(load<f64>(k)), a1 = f64x2.splat(load<f64>(k, 8));
  const a2 = f64x2.splat(load<f64>(k, 16)), a3 = f64x2.splat(load<f64>(k, 24));
  const stride = <usize>w << 2;
  // `from` and `to` count strips.
  for (let strip = from; strip < to; strip++) {
    const x = strip << 2;
    const take = min(4, w - x);
    let s = src + (<usize>x << 2);
    const first = loadUpTo4(s, take);
    const f0 = f64x2.promote_low_f32x4(first);
    const f1 = f64x2.promote_low_f32x4(v128.shuffle<i32>(first, first, 2, 3, 2, 3));
    let u1 = f0, u2 = f0, u3 = f0, v1 = f1, v2 = f1, v3 = f1;
    let p = scratch;
    let lastIn = first;
    for (let y = 0; y < h; y++) {
      lastIn = loadUpTo4(s, take);
      const u = step(b, a1, a2, a3, f64x2.promote_low_f32x4(lastIn), u1, u2, u3);
      const v = step(b, a1, a2, a3, f64x2.promote_low_f32x4(v128.shuffle<i32>(lastIn, lastIn, 2, 3, 2, 3)), v1, v2, v3);
      u3 = u2; u2 = u1; u1 = u;
      v3 = v2; v2 = v1; v1 = v;
      v128.store(p, u);
      v128.store(p, v, 16);
      p += 32;
      s += stride;
    }
    const l0 = f64x2.promote_low_f32x4(lastIn);
    const l1 = f64x2.promote_low_f32x4(v128.shuffle<i32>(lastIn, lastIn, 2, 3, 2, 3));
    const e1 = f64x2.sub(u1, l0), e2 = f64x2.sub(u2, l0), e3 = f64x2.sub(u3, l0);
    const g1 = f64x2.sub(v1, l1), g2 = f64x2.sub(v2, l1), g3 = f64x2.sub(v3, l1);
    u1 = end(k, 0, e1, e2, e3, l0); u2 = end(k, 1, e1, e2, e3, l0); u3 = end(k, 2, e1, e2, e3, l0);
    v1 = end(k, 0, g1, g2, g3, l1); v2 = end(k, 1, g1, g2, g3, l1); v3 = end(k, 2, g1, g2, g3, l1);
    let d = dst + <usize>(h - 1) * stride + (<usize>x << 2);
    for (let y = h - 1; y >= 0; y--) {
      p -= 32;
      const u = step(b, a1, a2, a3, v128.load(p), u1, u2, u3);
      const v = step(b, a1, a2, a3, v128.load(p, 16), v1, v2, v3);
      u3 = u2; u2 = u1; u1 = u;
      v3 = v2; v2 = v1; v1 = v;
      const r = v128.shuffle<i32>(f32x4.demote_f64x2_zero(u), f32x4.demote_f64x2_zero(v), 0, 1, 4, 5);
      if (take == 4) v128.store(d, r);
      else {
        store<f32>(d, f32x4.extract_lane(r, 0));
        if (take > 1) store<f32>(d, f32x4.extract_lane(r, 1), 4);
        if (take > 2) store<f32>(d, f32x4.extract_lane(r, 2), 8);
      }
      d -= stride;
    }
  }
}

// @ts-ignore: decorator
@inline
function loadUpTo4(p: usize, n: i32): v128 {
  if (n == 4) return v128.load(p);
  let r = f32x4.splat(load<f32>(p));
  if (n > 1) r = f32x4.replace_lane(r, 1, load<f32>(p, 4));
  if (n > 2) r = f32x4.replace_lane(r, 2, load<f32>(p, 8));
  return r;
}
