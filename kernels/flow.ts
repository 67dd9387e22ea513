// Dense motion on the frame at time t between two pictures (see src/image/flow.ts). A motion v at pixel x of
// time t joins x − t v of the first picture with x + (1 − t) v of the second; t = 0 and t = 1 are the usual
// forward and backward fields. Pictures are padded by PAD pixels all round; pointers are to pixel (0, 0),
// strides in floats. Items are patch rows or rows.

const PAD: i32 = 16;
const LOW: f32 = -15; // 1 − PAD
const SIZE: i32 = 8; // patch side
const WIN: i32 = 10; // patch and one pixel round it, for central differences

// @ts-ignore: decorator
@inline
function clampf(v: f32, lo: f32, hi: f32): f32 {
  return max(lo, min(hi, v));
}

/** Reads a WIN × WIN window whose first pixel lies at (x, y), shifted by (dx, dy), bilinearly; rows of 12 floats. */
function readWindow(img: usize, stride: i32, w: i32, h: i32, x: f32, y: f32, out: usize): void {
  const lo: f32 = LOW;
  const u = clampf(x, lo, <f32>(w + PAD - 14)), v = clampf(y, lo, <f32>(h + PAD - 12));
  const fx = Mathf.floor(u), fy = Mathf.floor(v);
  const ax = u - fx, ay = v - fy;
  const k00 = f32x4.splat((1 - ax) * (1 - ay)), k10 = f32x4.splat(ax * (1 - ay));
  const k01 = f32x4.splat((1 - ax) * ay), k11 = f32x4.splat(ax * ay);
  const row = <usize>stride << 2;
  let p = img + (((<isize><i32>fy) * <isize>stride + <isize><i32>fx) << 2);
  for (let j = 0; j < WIN; j++) {
    const q = p + row;
    for (let i: usize = 0; i < 48; i += 16) {
      v128.store(out + i, f32x4.add(
        f32x4.add(f32x4.mul(k00, v128.load(p + i)), f32x4.mul(k10, v128.load(p + i + 4))),
        f32x4.add(f32x4.mul(k01, v128.load(q + i)), f32x4.mul(k11, v128.load(q + i + 4)))));
    }
    p = q;
    out += 48;
  }
}

// @ts-ignore: decorator
@inline
function sum4(v: v128): f32 {
  const t = f32x4.add(v, v128.shuffle<i32>(v, v, 2, 3, 2, 3));
  return f32x4.extract_lane(t, 0) + f32x4.extract_lane(t, 1);
}

/** Mean squared zero-mean difference of the two windows' inner patches. */
function patchCost(a: usize, b: usize): f32 {
  let s = f32x4.splat(0), q = f32x4.splat(0);
  for (let j = 1; j <= SIZE; j++) {
    const o = <usize>(j * 48 + 4);
    const d0 = f32x4.sub(v128.load(a + o), v128.load(b + o));
    const d1 = f32x4.sub(v128.load(a + o, 16), v128.load(b + o, 16));
    s = f32x4.add(s, f32x4.add(d0, d1));
    q = f32x4.add(q, f32x4.add(f32x4.mul(d0, d0), f32x4.mul(d1, d1)));
  }
  const mean = sum4(s) * <f32>(1.0 / 64.0);
  return sum4(q) * <f32>(1.0 / 64.0) - mean * mean * <f32>0.9;
}

/**
 * Does a patch at (x, y) reach out of the picture by more than half? Then little of it can be checked: its cost counts
 * more.
 */
// @ts-ignore: decorator
@inline
function outside(x: f32, y: f32, w: i32, h: i32): f32 {
  return x < -4 || y < -4 || x > <f32>(w - 5) || y > <f32>(h - 5) ? 0.0015 : 0;
}

/**
 * Patch search: `nx` × ny patches, corner of patch (i, j) at (i·step, j·step) cut to the picture. uIn, vIn: a start a
 * patch. With `spread` the four neighbours' starts compete first. Then Gauss-Newton on the zero-mean difference (B. D.
 * Lucas, T. Kanade 1981), both pictures moved. Writes uOut, vOut, cost. scratch: 3 × 10 × 12 floats.
 */
export function flowPatches(
  i0: usize, i1: usize, stride: i32, w: i32, h: i32, t: f32, nx: i32, ny: i32, step: i32, uIn: usize, vIn: usize,
  uOut: usize, vOut: usize, cost: usize, spread: i32, iterations: i32, from: i32, to: i32, scratch: usize,
): void {
  const a = scratch, b = scratch + 480, m = scratch + 960;
  const s: f32 = 1 - t;
  for (let j = from; j < to; j++) {
    const y = <f32>min(j * step, h - SIZE) - 1;
    for (let i = 0; i < nx; i++) {
      const x = <f32>min(i * step, w - SIZE) - 1;
      const k = <usize>(j * nx + i) << 2;
      let u = load<f32>(uIn + k), v = load<f32>(vIn + k);
      if (spread != 0) {
        readWindow(i1, stride, w, h, x + s * u, y + s * v, a);
        readWindow(i0, stride, w, h, x - t * u, y - t * v, b);
        let best = patchCost(a, b) * <f32>0.98 + outside(x + s * u, y + s * v, w, h)
          + outside(x - t * u, y - t * v, w, h);
        for (let n = 0; n < 8; n++) {
          const reach = n < 4 ? 1 : 3;
          const d = n & 3;
          const ii = d == 0 ? i - reach : d == 1 ? i + reach : i, jj = d == 2 ? j - reach : d == 3 ? j + reach : j;
          if (ii < 0 || jj < 0 || ii >= nx || jj >= ny) continue;
          const kk = <usize>(jj * nx + ii) << 2;
          const cu = load<f32>(uIn + kk), cv = load<f32>(vIn + kk);
          if (Mathf.abs(cu - u) + Mathf.abs(cv - v) < 0.25) continue;
          readWindow(i1, stride, w, h, x + s * cu, y + s * cv, a);
          readWindow(i0, stride, w, h, x - t * cu, y - t * cv, b);
          const c = patchCost(a, b) + outside(x + s * cu, y + s * cv, w, h) + outside(x - t * cu, y - t * cv, w, h);
          if (c < best) { best = c; u = cu; v = cv; }
        }
      }
      const u0 = u, v0 = v;
      let least: f32 = Infinity, bu = u, bv = v;
      for (let it = 0; it <= iterations; it++) {
        readWindow(i1, stride, w, h, x + s * u, y + s * v, a);
        readWindow(i0, stride, w, h, x - t * u, y - t * v, b);
        const c = patchCost(a, b) + outside(x + s * u, y + s * v, w, h) + outside(x - t * u, y - t * v, w, h);
        if (c < least) { least = c; bu = u; bv = v; } else if (it > 1 && c > least * 1.2) break;
        // Padding against padding tells nothing: such a patch keeps what its surroundings gave it.
        if (it == 0 && outside(x + s * u, y + s * v, w, h) + outside(x - t * u, y - t * v, w, h) > 0) break;
        if (it == iterations) break;
        const vs = f32x4.splat(s), vt = f32x4.splat(t);
        for (let n: usize = 0; n < 480; n += 16)
          v128.store(m + n, f32x4.add(f32x4.mul(vs, v128.load(a + n)), f32x4.mul(vt, v128.load(b + n))));
        let xx = f32x4.splat(0), xy = xx, yy = xx, xz = xx, yz = xx, sx = xx, sy = xx, sz = xx;
        const half = f32x4.splat(0.5);
        for (let r = 1; r <= SIZE; r++) {
          for (let e: usize = 0; e < 32; e += 16) {
            const o = <usize>(r * 48 + 4) + e;
            const gx = f32x4.mul(half, f32x4.sub(v128.load(m + o + 4), v128.load(m + o - 4)));
            const gy = f32x4.mul(half, f32x4.sub(v128.load(m + o + 48), v128.load(m + o - 48)));
            const d = f32x4.sub(v128.load(a + o), v128.load(b + o));
            xx = f32x4.add(xx, f32x4.mul(gx, gx));
            xy = f32x4.add(xy, f32x4.mul(gx, gy));
            yy = f32x4.add(yy, f32x4.mul(gy, gy));
            xz = f32x4.add(xz, f32x4.mul(gx, d)); yz = f32x4.add(yz, f32x4.mul(gy, d));
            sx = f32x4.add(sx, gx); sy = f32x4.add(sy, gy); sz = f32x4.add(sz, d);
          }
        }
        const n64: f32 = 1.0 / 64.0;
        const mx = sum4(sx), my = sum4(sy), mz = sum4(sz);
        // A little damping: a patch on a straight edge moves across it only.
        const damp: f32 = 2e-4 * 64.0;
        const A = sum4(xx) - mx * mx * n64 + damp, B = sum4(xy) - mx * my * n64, C = sum4(yy) - my * my * n64 + damp;
        const p = sum4(xz) - mx * mz * n64, q = sum4(yz) - my * mz * n64;
        const det = A * C - B * B;
        const du = -(C * p - B * q) / det, dv = -(A * q - B * p) / det;
        u += clampf(du, -2, 2);
        v += clampf(dv, -2, 2);
        if (Mathf.abs(u - u0) > <f32>SIZE || Mathf.abs(v - v0) > <f32>SIZE) break;
        if (Mathf.abs(du) + Mathf.abs(dv) < 0.02) { it = max(it, iterations - 2); }
      }
      store<f32>(uOut + k, bu);
      store<f32>(vOut + k, bv);
      store<f32>(cost + k, least);
    }
  }
}

// @ts-ignore: decorator
@inline
function bilinear(img: usize, stride: i32, w: i32, h: i32, x: f32, y: f32): f32 {
  const u = clampf(x, LOW, <f32>(w + PAD - 3)), v = clampf(y, LOW, <f32>(h + PAD - 3));
  const fx = Mathf.floor(u), fy = Mathf.floor(v);
  const ax = u - fx, ay = v - fy;
  const p = img + (((<isize><i32>fy) * <isize>stride + <isize><i32>fx) << 2), q = p + (<usize>stride << 2);
  const top = load<f32>(p) + ax * (load<f32>(p, 4) - load<f32>(p));
  const bottom = load<f32>(q) + ax * (load<f32>(q, 4) - load<f32>(q));
  return top + ay * (bottom - top);
}

/**
 * Each pixel's motion: mean of the patches over it, weighted by how well each explains this pixel (Kroeger et al. 2016,
 * eq. 3).
 */
export function flowDensify(
  i0: usize, i1: usize, stride: i32, w: i32, h: i32, t: f32, nx: i32, ny: i32, step: i32, uIn: usize, vIn: usize,
  cost: usize, u: usize, v: usize, from: i32, to: i32, scratch: usize,
): void {
  const s: f32 = 1 - t;
  for (let y = from; y < to; y++) {
    const j1 = min(ny - 1, y / step);
    for (let x = 0; x < w; x++) {
      const i1x = min(nx - 1, x / step);
      let sw: f32 = 0, su: f32 = 0, sv: f32 = 0;
      for (let j = max(0, j1 - 2); j <= j1; j++) {
        const py = min(j * step, h - SIZE);
        if (y < py || y >= py + SIZE) continue;
        for (let i = max(0, i1x - 2); i <= i1x; i++) {
          const px = min(i * step, w - SIZE);
          if (x < px || x >= px + SIZE) continue;
          const k = <usize>(j * nx + i) << 2;
          const pu = load<f32>(uIn + k), pv = load<f32>(vIn + k);
          const d = Mathf.abs(
            bilinear(i1, stride, w, h, <f32>x + s * pu, <f32>y + s * pv)
              - bilinear(i0, stride, w, h, <f32>x - t * pu, <f32>y - t * pv)
          );
          const wt = <f32>1 / max<f32>(0.004, d) / (Mathf.sqrt(max<f32>(0, load<f32>(cost + k))) + <f32>0.004);
          sw += wt;
          su += wt * pu;
          sv += wt * pv;
        }
      }
      const o = <usize>(y * w + x) << 2;
      store<f32>(u + o, su / sw);
      store<f32>(v + o, sv / sw);
    }
  }
}

/** Both pictures moved by the field: their weighted mean and their difference (second − first). */
export function flowWarp(
  i0: usize, i1: usize, stride: i32, w: i32, h: i32, t: f32, u: usize, v: usize, mean: usize, diff: usize, from: i32,
  to: i32, scratch: usize,
): void {
  const s: f32 = 1 - t;
  for (let y = from; y < to; y++) {
    for (let x = 0; x < w; x++) {
      const o = <usize>(y * w + x) << 2;
      const pu = load<f32>(u + o), pv = load<f32>(v + o);
      const a = bilinear(i1, stride, w, h, <f32>x + s * pu, <f32>y + s * pv);
      const b = bilinear(i0, stride, w, h, <f32>x - t * pu, <f32>y - t * pv);
      store<f32>(mean + o, s * a + t * b);
      store<f32>(diff + o, a - b);
    }
  }
}

/**
 * No data (five planes at `sys`, see flow-refine.ts) where one of the two pictures does not show the point: smoothness
 * alone fills it.
 */
export function flowUnseen(
  w: i32, h: i32, t: f32, u: usize, v: usize, sys: usize, from: i32, to: i32, scratch: usize,
): void {
  const plane = <usize>(w * h) << 2;
  const s: f32 = 1 - t, right = <f32>w - <f32>0.5, bottom = <f32>h - <f32>0.5, low: f32 = -0.5;
  for (let y = from; y < to; y++) {
    for (let x = 0; x < w; x++) {
      const o = <usize>(y * w + x) << 2;
      const pu = load<f32>(u + o), pv = load<f32>(v + o);
      const ax = <f32>x - t * pu, ay = <f32>y - t * pv, bx = <f32>x + s * pu, by = <f32>y + s * pv;
      if (min(ax, bx) > low && max(ax, bx) < right && min(ay, by) > low && max(ay, by) < bottom) continue;
      for (let k: usize = 0; k < 5; k++) store<f32>(sys + k * plane + o, 0);
    }
  }
}
