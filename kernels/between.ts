// The picture between two others from motions known on a coarser grid (see src/join/pace/draw-between.ts).
// Pictures are interleaved RGBA, premultiplied. The grid holds `count` proposals a cell, each four
// floats: u, v (full pixels), w0, w1; `shift`: a cell is 2^shift pixels wide. Reads are bicubic (Keys
// 1981, a = −1/2). Items are rows of the wanted picture.

/** The four weights of Keys' cubic at t. */
// @ts-ignore: decorator
@inline
function keysWeights(t: f32): v128 {
  const v = f32x4.splat(t);
  const c3 = f32x4(-0.5, 1.5, -1.5, 0.5), c2 = f32x4(1, -2.5, 2, -0.5);
  const c1 = f32x4(-0.5, 0, 0.5, 0), c0 = f32x4(0, 1, 0, 0);
  return f32x4.add(f32x4.mul(f32x4.add(f32x4.mul(f32x4.add(f32x4.mul(c3, v), c2), v), c1), v), c0);
}

// @ts-ignore: decorator
@inline
function across(p: usize, x0: usize, x1: usize, x2: usize, x3: usize, k0: v128, k1: v128, k2: v128, k3: v128): v128 {
  return f32x4.add(
    f32x4.add(f32x4.mul(k0, v128.load(p + x0)), f32x4.mul(k1, v128.load(p + x1))),
    f32x4.add(f32x4.mul(k2, v128.load(p + x2)), f32x4.mul(k3, v128.load(p + x3))),
  );
}

/** RGBA of `img` at pixel index (x, y); beyond the edge the edge pixel repeats. */
// @ts-ignore: decorator
@inline
function readKeys(img: usize, w: i32, h: i32, x: f32, y: f32): v128 {
  const u = max<f32>(-1, min<f32>(<f32>w, x)), v = max<f32>(-1, min<f32>(<f32>h, y));
  const fx = Mathf.floor(u), fy = Mathf.floor(v);
  const ix = <i32>fx, iy = <i32>fy;
  const kx = keysWeights(u - fx), ky = keysWeights(v - fy);
  const k0 = v128.shuffle<f32>(kx, kx, 0, 0, 0, 0), k1 = v128.shuffle<f32>(kx, kx, 1, 1, 1, 1);
  const k2 = v128.shuffle<f32>(kx, kx, 2, 2, 2, 2), k3 = v128.shuffle<f32>(kx, kx, 3, 3, 3, 3);
  const l0 = v128.shuffle<f32>(ky, ky, 0, 0, 0, 0), l1 = v128.shuffle<f32>(ky, ky, 1, 1, 1, 1);
  const l2 = v128.shuffle<f32>(ky, ky, 2, 2, 2, 2), l3 = v128.shuffle<f32>(ky, ky, 3, 3, 3, 3);
  let p0: usize, p1: usize, p2: usize, p3: usize, x0: usize, x1: usize, x2: usize, x3: usize;
  if (ix >= 1 && iy >= 1 && ix + 2 < w && iy + 2 < h) {
    const row = <usize>w << 4;
    p0 = img + (<usize>((iy - 1) * w + ix - 1) << 4);
    p1 = p0 + row; p2 = p1 + row; p3 = p2 + row;
    x0 = 0; x1 = 16; x2 = 32; x3 = 48;
  } else {
    x0 = <usize>max(0, min(w - 1, ix - 1)) << 4;
    x1 = <usize>max(0, min(w - 1, ix)) << 4;
    x2 = <usize>max(0, min(w - 1, ix + 1)) << 4;
    x3 = <usize>max(0, min(w - 1, ix + 2)) << 4;
    p0 = img + (<usize>(max(0, min(h - 1, iy - 1)) * w) << 4);
    p1 = img + (<usize>(max(0, min(h - 1, iy)) * w) << 4);
    p2 = img + (<usize>(max(0, min(h - 1, iy + 1)) * w) << 4);
    p3 = img + (<usize>(max(0, min(h - 1, iy + 2)) * w) << 4);
  }
  const r0 = f32x4.mul(l0, across(p0, x0, x1, x2, x3, k0, k1, k2, k3));
  const r1 = f32x4.mul(l1, across(p1, x0, x1, x2, x3, k0, k1, k2, k3));
  const r2 = f32x4.mul(l2, across(p2, x0, x1, x2, x3, k0, k1, k2, k3));
  const r3 = f32x4.mul(l3, across(p3, x0, x1, x2, x3, k0, k1, k2, k3));
  return f32x4.add(f32x4.add(r0, r1), f32x4.add(r2, r3));
}

// @ts-ignore: decorator
@inline
function near(p: v128, q: v128, same: f32): bool {
  const d = f32x4.abs(f32x4.sub(p, q));
  return f32x4.extract_lane(d, 0) + f32x4.extract_lane(d, 1) < same;
}

/** Two proposals that say nearly the same as one: their weighted mean, with the weight of both. */
// @ts-ignore: decorator
@inline
function merged(r: v128, q: v128): v128 {
  const both = f32x4.add(q, r);
  const wq = f32x4.extract_lane(q, 2) + f32x4.extract_lane(q, 3);
  const wr = f32x4.extract_lane(r, 2) + f32x4.extract_lane(r, 3);
  return v128.shuffle<f32>(
    f32x4.add(r, f32x4.mul(f32x4.splat(wq / (wq + wr + <f32>1e-20)), f32x4.sub(q, r))),
    both, 0, 1, 6, 7,
  );
}

/**
 * What a proposal fetches, weighed, added to `sum`. Far less weight than the plain mix has is not worth the reading.
 */
// @ts-ignore: decorator
@inline
function fetched(sum: v128, p: v128, a: usize, b: usize, w: i32, h: i32, x: f32, y: f32, t: f32): v128 {
  const u = f32x4.extract_lane(p, 0), v = f32x4.extract_lane(p, 1);
  const w0 = f32x4.extract_lane(p, 2), w1 = f32x4.extract_lane(p, 3);
  if (w0 > LEAST) sum = f32x4.add(sum, f32x4.mul(f32x4.splat(w0), readKeys(a, w, h, x - t * u, y - t * v)));
  if (w1 > LEAST)
    sum = f32x4.add(sum, f32x4.mul(f32x4.splat(w1), readKeys(b, w, h, x + (<f32>1 - t) * u, y + (<f32>1 - t) * v)));
  return sum;
}

const LEAST: f32 = 0.0005;

// @ts-ignore: decorator
@inline
function weightOf(p: v128): f32 {
  const w0 = f32x4.extract_lane(p, 2), w1 = f32x4.extract_lane(p, 3);
  return (w0 > LEAST ? w0 : <f32>0) + (w1 > LEAST ? w1 : <f32>0);
}

/**
 * `held`: one byte a cell, 0 where neither picture holds anything that could come there. Writes interleaved RGBA.
 * scratch: a row of cells and one more proposal set, 16 count (gw + 1) bytes.
 */
export function between(
  a: usize, b: usize, w: i32, h: i32, grid: usize, held: usize, gw: i32, gh: i32, shift: i32, count: i32, t: f32,
  doubt: f32, same: f32, out: usize, from: i32, to: i32, scratch: usize,
): void {
  const scale = <f32>1 / <f32>(1 << shift);
  const cell = <usize>count << 4, line = cell * <usize>gw;
  const now = scratch + line;
  const zero = f32x4.splat(0), mixA = f32x4.splat(doubt * (<f32>1 - t)), mixB = f32x4.splat(doubt * t);
  for (let y = from; y < to; y++) {
    const gy = max<f32>(0, min<f32>(<f32>(gh - 1), (<f32>y + <f32>0.5) * scale - <f32>0.5));
    const j0 = <i32>gy, j1 = min(gh - 1, j0 + 1);
    const ty = f32x4.splat(gy - <f32>j0);
    const heldRow = held + <usize>(min(gh - 1, y >> shift) * gw);
    // The proposals on this row, between two rows of cells.
    const top = grid + <usize>j0 * line, low = grid + <usize>j1 * line;
    for (let q: usize = 0; q < line; q += 16) {
      const l = v128.load(top + q);
      v128.store(scratch + q, f32x4.add(l, f32x4.mul(ty, f32x4.sub(v128.load(low + q), l))));
    }
    for (let x = 0; x < w; x++) {
      const o = <usize>(y * w + x) << 4;
      if (load<u8>(heldRow + min(gw - 1, x >> shift)) == 0) { v128.store(out + o, zero); continue; }
      const gx = max<f32>(0, min<f32>(<f32>(gw - 1), (<f32>x + <f32>0.5) * scale - <f32>0.5));
      const i0 = <i32>gx, i1 = min(gw - 1, i0 + 1);
      const tx = f32x4.splat(gx - <f32>i0);
      const l = scratch + <usize>i0 * cell, r = scratch + <usize>i1 * cell;
      let weight = doubt;
      let sum = f32x4.add(f32x4.mul(mixA, v128.load(a + o)), f32x4.mul(mixB, v128.load(b + o)));
      const fx = <f32>x, fy = <f32>y;
      // Proposals that say nearly the same are one, at their weighted mean: a colour is
      // read once, and not blurred by several.
      if (count == 3) {
        const l0 = v128.load(l), l1 = v128.load(l, 16), l2 = v128.load(l, 32);
        let p0 = f32x4.add(l0, f32x4.mul(tx, f32x4.sub(v128.load(r), l0)));
        let p1 = f32x4.add(l1, f32x4.mul(tx, f32x4.sub(v128.load(r, 16), l1)));
        let p2 = f32x4.add(l2, f32x4.mul(tx, f32x4.sub(v128.load(r, 32), l2)));
        if (near(p1, p0, same)) { p0 = merged(p0, p1); p1 = zero; }
        if (near(p2, p0, same)) {
          p0 = merged(p0, p2);
          p2 = zero;
        } else if (near(p2, p1, same)) {
          p1 = merged(p1, p2);
          p2 = zero;
        }
        weight += weightOf(p0) + weightOf(p1) + weightOf(p2);
        sum = fetched(sum, p0, a, b, w, h, fx, fy, t);
        sum = fetched(sum, p1, a, b, w, h, fx, fy, t);
        sum = fetched(sum, p2, a, b, w, h, fx, fy, t);
      } else {
        for (let q: usize = 0; q < cell; q += 16) {
          const lq = v128.load(l + q);
          v128.store(now + q, f32x4.add(lq, f32x4.mul(tx, f32x4.sub(v128.load(r + q), lq))));
        }
        for (let q: usize = 16; q < cell; q += 16) {
          for (let k: usize = 0; k < q; k += 16) {
            const pq = v128.load(now + q), pk = v128.load(now + k);
            if (!near(pq, pk, same)) continue;
            v128.store(now + k, merged(pk, pq));
            v128.store(now + q, zero);
            break;
          }
        }
        for (let q: usize = 0; q < cell; q += 16) {
          const p = v128.load(now + q);
          weight += weightOf(p);
          sum = fetched(sum, p, a, b, w, h, fx, fy, t);
        }
      }
      // Bicubic weights overshoot: light is never below 0, coverage never outside 0..1.
      const res = f32x4.max(zero, f32x4.mul(sum, f32x4.splat(<f32>1 / weight)));
      v128.store(out + o, f32x4.replace_lane(res, 3, min<f32>(1, f32x4.extract_lane(res, 3))));
    }
  }
}
