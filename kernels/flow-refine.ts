// Variational refinement of dense motion (see src/image/flow.ts, point 2): the linear system of a fixed-point step, the
// smoothness weights, and red-black over-relaxation. Four pixels at a time; what is left at the edges goes one by one
// with the same operations in the same order, so that a picture's width does not show in the bytes. Items are rows.

// @ts-ignore: decorator
@inline
function at(p: usize, w: i32, h: i32, x: i32, y: i32): f32 {
  return load<f32>(p + (<usize>(max(0, min(h - 1, y)) * w + max(0, min(w - 1, x))) << 2));
}

/** The data term's system at one pixel, neighbours clamped to the picture. */
function dataOne(
  mean: usize, diff: usize, w: i32, h: i32, x: i32, y: i32, du: usize, dv: usize, sys: usize, plane: usize, delta: f32,
  gamma: f32,
): void {
  const zeta2: f32 = 1.5e-7 * 1.0, eps2: f32 = 1.0e-6;
  const o = <usize>(y * w + x) << 2;
  const c = load<f32>(mean + o);
  const l = at(mean, w, h, x - 1, y), r = at(mean, w, h, x + 1, y);
  const n = at(mean, w, h, x, y - 1), s = at(mean, w, h, x, y + 1);
  const ix = <f32>0.5 * (r - l), iy = <f32>0.5 * (s - n);
  const ixx = r - <f32>2 * c + l, iyy = s - <f32>2 * c + n;
  const ixy = <f32>0.25
    * (
      at(mean, w, h, x + 1, y + 1) - at(mean, w, h, x - 1, y + 1) - at(mean, w, h, x + 1, y - 1)
        + at(mean, w, h, x - 1, y - 1)
    );
  const iz = load<f32>(diff + o);
  const ixz = <f32>0.5 * (at(diff, w, h, x + 1, y) - at(diff, w, h, x - 1, y));
  const iyz = <f32>0.5 * (at(diff, w, h, x, y + 1) - at(diff, w, h, x, y - 1));
  const pu = load<f32>(du + o), pv = load<f32>(dv + o);
  const norm = ix * ix + iy * iy + zeta2 * <f32>100;
  const z = iz + ix * pu + iy * pv;
  const k = delta / Mathf.sqrt(z * z / norm + eps2) / norm;
  let a11 = k * ix * ix, a12 = k * ix * iy, a22 = k * iy * iy, b1 = -k * ix * iz, b2 = -k * iy * iz;
  const nx = ixx * ixx + ixy * ixy + zeta2 * <f32>100, ny = ixy * ixy + iyy * iyy + zeta2 * <f32>100;
  const zx = ixz + ixx * pu + ixy * pv, zy = iyz + ixy * pu + iyy * pv;
  const g = gamma / Mathf.sqrt(zx * zx / nx + zy * zy / ny + eps2);
  const gx = g / nx, gy = g / ny;
  a11 += gx * ixx * ixx + gy * ixy * ixy;
  a12 += gx * ixx * ixy + gy * ixy * iyy;
  a22 += gx * ixy * ixy + gy * iyy * iyy;
  b1 -= gx * ixx * ixz + gy * ixy * iyz;
  b2 -= gx * ixy * ixz + gy * iyy * iyz;
  store<f32>(sys + o, a11);
  store<f32>(sys + plane + o, a12);
  store<f32>(sys + 2 * plane + o, a22);
  store<f32>(sys + 3 * plane + o, b1);
  store<f32>(sys + 4 * plane + o, b2);
}

/**
 * Linear system of one fixed-point step: brightness and gradient constancy with robust, normalised weights (H. Zimmer,
 * A. Bruhn, J. Weickert, IJCV 2011), increments du, dv. Writes a11, a12, a22, b1, b2 (five planes at `sys`).
 */
export function flowData(
  mean: usize, diff: usize, w: i32, h: i32, du: usize, dv: usize, sys: usize, delta: f32, gamma: f32, from: i32,
  to: i32, scratch: usize,
): void {
  const plane = <usize>(w * h) << 2;
  const row = <usize>w << 2;
  const hundred = f32x4.splat(<f32>(1.5e-7 * 1.0) * <f32>100), eps2 = f32x4.splat(1.0e-6);
  const half = f32x4.splat(0.5), quarter = f32x4.splat(0.25), two = f32x4.splat(2);
  const vdelta = f32x4.splat(delta), vgamma = f32x4.splat(gamma);
  for (let y = from; y < to; y++) {
    dataOne(mean, diff, w, h, 0, y, du, dv, sys, plane, delta, gamma);
    const up = y > 0 ? row : 0, down = y + 1 < h ? row : 0;
    let x = 1;
    for (; x + 5 <= w; x += 4) {
      const o = <usize>(y * w + x) << 2;
      const m = mean + o, f = diff + o;
      const c = v128.load(m), l = v128.load(m - 4), r = v128.load(m + 4);
      const n = v128.load(m - up), s = v128.load(m + down);
      const ix = f32x4.mul(half, f32x4.sub(r, l)), iy = f32x4.mul(half, f32x4.sub(s, n));
      const cc = f32x4.mul(two, c);
      const ixx = f32x4.add(f32x4.sub(r, cc), l), iyy = f32x4.add(f32x4.sub(s, cc), n);
      const ixy = f32x4.mul(
        quarter,
        f32x4.add(
          f32x4.sub(f32x4.sub(v128.load(m + down + 4), v128.load(m + down - 4)), v128.load(m - up + 4)),
          v128.load(m - up - 4),
        ),
      );
      const iz = v128.load(f);
      const ixz = f32x4.mul(half, f32x4.sub(v128.load(f + 4), v128.load(f - 4)));
      const iyz = f32x4.mul(half, f32x4.sub(v128.load(f + down), v128.load(f - up)));
      const pu = v128.load(du + o), pv = v128.load(dv + o);
      const norm = f32x4.add(f32x4.add(f32x4.mul(ix, ix), f32x4.mul(iy, iy)), hundred);
      const z = f32x4.add(f32x4.add(iz, f32x4.mul(ix, pu)), f32x4.mul(iy, pv));
      const k = f32x4.div(f32x4.div(vdelta, f32x4.sqrt(f32x4.add(f32x4.div(f32x4.mul(z, z), norm), eps2))), norm);
      const kx = f32x4.mul(k, ix), ky = f32x4.mul(k, iy);
      const nx = f32x4.add(f32x4.add(f32x4.mul(ixx, ixx), f32x4.mul(ixy, ixy)), hundred);
      const ny = f32x4.add(f32x4.add(f32x4.mul(ixy, ixy), f32x4.mul(iyy, iyy)), hundred);
      const zx = f32x4.add(f32x4.add(ixz, f32x4.mul(ixx, pu)), f32x4.mul(ixy, pv));
      const zy = f32x4.add(f32x4.add(iyz, f32x4.mul(ixy, pu)), f32x4.mul(iyy, pv));
      const g = f32x4.div(
        vgamma,
        f32x4.sqrt(f32x4.add(f32x4.add(f32x4.div(f32x4.mul(zx, zx), nx), f32x4.div(f32x4.mul(zy, zy), ny)), eps2)),
      );
      const gx = f32x4.div(g, nx), gy = f32x4.div(g, ny);
      const gxx = f32x4.mul(gx, ixx), gxy = f32x4.mul(gx, ixy), gyx = f32x4.mul(gy, ixy), gyy = f32x4.mul(gy, iyy);
      const q = sys + o;
      v128.store(q, f32x4.add(f32x4.mul(kx, ix), f32x4.add(f32x4.mul(gxx, ixx), f32x4.mul(gyx, ixy))));
      v128.store(q + plane, f32x4.add(f32x4.mul(kx, iy), f32x4.add(f32x4.mul(gxx, ixy), f32x4.mul(gyx, iyy))));
      v128.store(q + 2 * plane, f32x4.add(f32x4.mul(ky, iy), f32x4.add(f32x4.mul(gxy, ixy), f32x4.mul(gyy, iyy))));
      v128.store(
        q + 3 * plane,
        f32x4.sub(f32x4.neg(f32x4.mul(kx, iz)), f32x4.add(f32x4.mul(gxx, ixz), f32x4.mul(gyx, iyz))),
      );
      v128.store(
        q + 4 * plane,
        f32x4.sub(f32x4.neg(f32x4.mul(ky, iz)), f32x4.add(f32x4.mul(gxy, ixz), f32x4.mul(gyy, iyz))),
      );
    }
    for (; x < w; x++) dataOne(mean, diff, w, h, x, y, du, dv, sys, plane, delta, gamma);
  }
}

function smoothOne(
  mean: usize, w: i32, h: i32, x: i32, y: i32, u: usize, v: usize, du: usize, dv: usize, wx: usize, wy: usize,
  alpha: f32, edge: f32,
): void {
  const eps2: f32 = 1.0e-6;
  const o = <usize>(y * w + x) << 2;
  const r = x + 1 < w ? o + 4 : o, d = y + 1 < h ? o + (<usize>w << 2) : o;
  const uc = load<f32>(u + o) + load<f32>(du + o), vc = load<f32>(v + o) + load<f32>(dv + o);
  const ux = load<f32>(u + r) + load<f32>(du + r) - uc, vx = load<f32>(v + r) + load<f32>(dv + r) - vc;
  const uy = load<f32>(u + d) + load<f32>(du + d) - uc, vy = load<f32>(v + d) + load<f32>(dv + d) - vc;
  const k = alpha / Mathf.sqrt(ux * ux + vx * vx + uy * uy + vy * vy + eps2);
  const m = load<f32>(mean + o);
  const ex = Mathf.abs(load<f32>(mean + r) - m), ey = Mathf.abs(load<f32>(mean + d) - m);
  store<f32>(wx + o, x + 1 < w ? k / (1 + edge * ex * ex) : 0);
  store<f32>(wy + o, y + 1 < h ? k / (1 + edge * ey * ey) : 0);
}

/**
 * Smoothness weights to the right (wx) and downwards (wy): robust in the field's gradient, lower across edges of the
 * picture.
 */
export function flowSmooth(
  mean: usize, w: i32, h: i32, u: usize, v: usize, du: usize, dv: usize, wx: usize, wy: usize, alpha: f32, edge: f32,
  from: i32, to: i32, scratch: usize,
): void {
  const row = <usize>w << 2;
  const eps2 = f32x4.splat(1.0e-6), one = f32x4.splat(1), valpha = f32x4.splat(alpha), vedge = f32x4.splat(edge);
  for (let y = from; y < to; y++) {
    let x = 0;
    // The last row has no pixel below: its weight downwards is 0.
    const down = y + 1 < h ? row : 0, below = f32x4.splat(y + 1 < h ? 1 : 0);
    for (; x + 5 <= w; x += 4) {
      const o = <usize>(y * w + x) << 2;
      const uc = f32x4.add(v128.load(u + o), v128.load(du + o)), vc = f32x4.add(v128.load(v + o), v128.load(dv + o));
      const ux = f32x4.sub(f32x4.add(v128.load(u + o + 4), v128.load(du + o + 4)), uc);
      const vx = f32x4.sub(f32x4.add(v128.load(v + o + 4), v128.load(dv + o + 4)), vc);
      const uy = f32x4.sub(f32x4.add(v128.load(u + o + down), v128.load(du + o + down)), uc);
      const vy = f32x4.sub(f32x4.add(v128.load(v + o + down), v128.load(dv + o + down)), vc);
      const k = f32x4.div(
        valpha,
        f32x4.sqrt(
          f32x4.add(
            f32x4.add(f32x4.add(f32x4.add(f32x4.mul(ux, ux), f32x4.mul(vx, vx)), f32x4.mul(uy, uy)), f32x4.mul(vy, vy)),
            eps2,
          )
        ),
      );
      const m = v128.load(mean + o);
      const ex = f32x4.sub(v128.load(mean + o + 4), m), ey = f32x4.sub(v128.load(mean + o + down), m);
      v128.store(wx + o, f32x4.div(k, f32x4.add(one, f32x4.mul(f32x4.mul(vedge, ex), ex))));
      v128.store(wy + o, f32x4.mul(below, f32x4.div(k, f32x4.add(one, f32x4.mul(f32x4.mul(vedge, ey), ey)))));
    }
    for (; x < w; x++) smoothOne(mean, w, h, x, y, u, v, du, dv, wx, wy, alpha, edge);
  }
}

// @ts-ignore: decorator
@inline
function evens(p: usize): v128 {
  return v128.shuffle<f32>(v128.load(p), v128.load(p, 16), 0, 2, 4, 6);
}

// @ts-ignore: decorator
@inline
function relaxOne(
  o: usize, x: i32, y: i32, row: usize, plane: usize, u: usize, v: usize, du: usize, dv: usize, wx: usize, wy: usize,
  sys: usize, omega: f32,
): void {
  const kr = load<f32>(wx + o), kd = load<f32>(wy + o);
  const kl: f32 = x > 0 ? load<f32>(wx + o - 4) : 0, ku: f32 = y > 0 ? load<f32>(wy + o - row) : 0;
  const uc = load<f32>(u + o), vc = load<f32>(v + o);
  let su: f32 = 0, sv: f32 = 0;
  if (kr > 0) {
    su += kr * (load<f32>(u + o + 4) + load<f32>(du + o + 4) - uc);
    sv += kr * (load<f32>(v + o + 4) + load<f32>(dv + o + 4) - vc);
  }
  if (kl > 0) {
    su += kl * (load<f32>(u + o - 4) + load<f32>(du + o - 4) - uc);
    sv += kl * (load<f32>(v + o - 4) + load<f32>(dv + o - 4) - vc);
  }
  if (kd > 0) {
    su += kd * (load<f32>(u + o + row) + load<f32>(du + o + row) - uc);
    sv += kd * (load<f32>(v + o + row) + load<f32>(dv + o + row) - vc);
  }
  if (ku > 0) {
    su += ku * (load<f32>(u + o - row) + load<f32>(du + o - row) - uc);
    sv += ku * (load<f32>(v + o - row) + load<f32>(dv + o - row) - vc);
  }
  const k = kr + kl + kd + ku;
  const a11 = load<f32>(sys + o) + k, a12 = load<f32>(sys + plane + o), a22 = load<f32>(sys + 2 * plane + o) + k;
  const pu = load<f32>(du + o), pv = load<f32>(dv + o);
  const nu = pu + omega * ((su + load<f32>(sys + 3 * plane + o) - a12 * pv) / a11 - pu);
  store<f32>(du + o, nu);
  store<f32>(dv + o, pv + omega * ((sv + load<f32>(sys + 4 * plane + o) - a12 * nu) / a22 - pv));
}

/**
 * Half a sweep of successive over-relaxation: pixels with (x + y) odd or even (`colour`), so that rows may run apart.
 * Four pixels of a colour at a time; the other colour's values between them are read and stored unchanged.
 */
export function flowRelax(
  w: i32, h: i32, u: usize, v: usize, du: usize, dv: usize, wx: usize, wy: usize, sys: usize, omega: f32, colour: i32,
  from: i32, to: i32, scratch: usize,
): void {
  const plane = <usize>(w * h) << 2;
  const row = <usize>w << 2;
  const om = f32x4.splat(omega);
  for (let y = from; y < to; y++) {
    let x = (y + colour) & 1;
    if (x == 0) {
      relaxOne(<usize>(y * w) << 2, 0, y, row, plane, u, v, du, dv, wx, wy, sys, omega);
      x = 2;
    }
    const up = y > 0 ? row : 0, down = y + 1 < h ? row : 0;
    const above = f32x4.splat(y > 0 ? 1 : 0);
    for (; x + 8 <= w; x += 8) {
      const o = <usize>(y * w + x) << 2;
      const x0 = v128.load(wx + o - 4), x1 = v128.load(wx + o + 12);
      // wx of the left neighbour, then of the pixel itself.
      const kl = v128.shuffle<f32>(x0, x1, 0, 2, 4, 6), kr = v128.shuffle<f32>(x0, x1, 1, 3, 5, 7);
      const kd = evens(wy + o), ku = f32x4.mul(above, evens(wy + o - up));
      const u0 = v128.load(u + o), u1 = v128.load(u + o, 16), v0 = v128.load(v + o), v1 = v128.load(v + o, 16);
      const d0 = v128.load(du + o), d1 = v128.load(du + o, 16), e0 = v128.load(dv + o), e1 = v128.load(dv + o, 16);
      const uc = v128.shuffle<f32>(u0, u1, 0, 2, 4, 6), vc = v128.shuffle<f32>(v0, v1, 0, 2, 4, 6);
      const dr = v128.shuffle<f32>(d0, d1, 1, 3, 5, 7), er = v128.shuffle<f32>(e0, e1, 1, 3, 5, 7);
      let su = f32x4.mul(kr, f32x4.sub(f32x4.add(v128.shuffle<f32>(u0, u1, 1, 3, 5, 7), dr), uc));
      let sv = f32x4.mul(kr, f32x4.sub(f32x4.add(v128.shuffle<f32>(v0, v1, 1, 3, 5, 7), er), vc));
      su = f32x4.add(su, f32x4.mul(kl, f32x4.sub(f32x4.add(evens(u + o - 4), evens(du + o - 4)), uc)));
      sv = f32x4.add(sv, f32x4.mul(kl, f32x4.sub(f32x4.add(evens(v + o - 4), evens(dv + o - 4)), vc)));
      su = f32x4.add(su, f32x4.mul(kd, f32x4.sub(f32x4.add(evens(u + o + down), evens(du + o + down)), uc)));
      sv = f32x4.add(sv, f32x4.mul(kd, f32x4.sub(f32x4.add(evens(v + o + down), evens(dv + o + down)), vc)));
      su = f32x4.add(su, f32x4.mul(ku, f32x4.sub(f32x4.add(evens(u + o - up), evens(du + o - up)), uc)));
      sv = f32x4.add(sv, f32x4.mul(ku, f32x4.sub(f32x4.add(evens(v + o - up), evens(dv + o - up)), vc)));
      const k = f32x4.add(f32x4.add(f32x4.add(kr, kl), kd), ku);
      const s = sys + o;
      const a11 = f32x4.add(evens(s), k), a12 = evens(s + plane), a22 = f32x4.add(evens(s + 2 * plane), k);
      const pu = v128.shuffle<f32>(d0, d1, 0, 2, 4, 6), pv = v128.shuffle<f32>(e0, e1, 0, 2, 4, 6);
      const nu = f32x4.add(
        pu,
        f32x4.mul(
          om,
          f32x4.sub(f32x4.div(f32x4.sub(f32x4.add(su, evens(s + 3 * plane)), f32x4.mul(a12, pv)), a11), pu),
        ),
      );
      const nv = f32x4.add(
        pv,
        f32x4.mul(
          om,
          f32x4.sub(f32x4.div(f32x4.sub(f32x4.add(sv, evens(s + 4 * plane)), f32x4.mul(a12, nu)), a22), pv),
        ),
      );
      v128.store(du + o, v128.shuffle<f32>(nu, dr, 0, 4, 1, 5));
      v128.store(du + o, v128.shuffle<f32>(nu, dr, 2, 6, 3, 7), 16);
      v128.store(dv + o, v128.shuffle<f32>(nv, er, 0, 4, 1, 5));
      v128.store(dv + o, v128.shuffle<f32>(nv, er, 2, 6, 3, 7), 16);
    }
    for (; x < w; x += 2) relaxOne(<usize>(y * w + x) << 2, x, y, row, plane, u, v, du, dv, wx, wy, sys, omega);
  }
}
