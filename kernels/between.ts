// The picture between two others from motions known on a coarser grid (see src/join/draw-between.ts). Pictures are interleaved
// RGBA, premultiplied. The grid holds `count` proposals a cell, each four floats: u, v (full pixels), w0, w1; `shift`: a cell is
// 2^shift pixels wide. Reads are bicubic (Keys 1981, a = −1/2). Items are rows of the wanted picture.

// @ts-ignore: decorator
@inline
function keysWeights(t: f32, out: usize): void {
  store<f32>(out, ((<f32>-0.5 * t + 1) * t - <f32>0.5) * t);
  store<f32>(out, (<f32>1.5 * t - <f32>2.5) * t * t + 1, 4);
  store<f32>(out, ((<f32>-1.5 * t + 2) * t + <f32>0.5) * t, 8);
  store<f32>(out, (<f32>0.5 * t - <f32>0.5) * t * t, 12);
}

/** RGBA of `img` at pixel index (x, y); beyond the edge the edge pixel repeats. `tmp`: 8 floats. */
function readKeys(img: usize, w: i32, h: i32, x: f32, y: f32, tmp: usize): v128 {
  const u = max<f32>(-1, min<f32>(<f32>w, x)), v = max<f32>(-1, min<f32>(<f32>h, y));
  const fx = Mathf.floor(u), fy = Mathf.floor(v);
  const ix = <i32>fx, iy = <i32>fy;
  keysWeights(u - fx, tmp);
  keysWeights(v - fy, tmp + 16);
  const k0 = v128.load32_splat(tmp), k1 = v128.load32_splat(tmp, 4), k2 = v128.load32_splat(tmp, 8), k3 = v128.load32_splat(tmp, 12);
  let sum = f32x4.splat(0);
  if (ix >= 1 && iy >= 1 && ix + 2 < w && iy + 2 < h) {
    let p = img + (<usize>((iy - 1) * w + ix - 1) << 4);
    for (let j: usize = 0; j < 16; j += 4) {
      const row = f32x4.add(f32x4.add(f32x4.mul(k0, v128.load(p)), f32x4.mul(k1, v128.load(p, 16))), f32x4.add(f32x4.mul(k2, v128.load(p, 32)), f32x4.mul(k3, v128.load(p, 48))));
      sum = f32x4.add(sum, f32x4.mul(v128.load32_splat(tmp + j, 16), row));
      p += <usize>w << 4;
    }
    return sum;
  }
  const x0 = <usize>max(0, min(w - 1, ix - 1)) << 4, x1 = <usize>max(0, min(w - 1, ix)) << 4, x2 = <usize>max(0, min(w - 1, ix + 1)) << 4, x3 = <usize>max(0, min(w - 1, ix + 2)) << 4;
  for (let j = 0; j < 4; j++) {
    const p = img + (<usize>(max(0, min(h - 1, iy + j - 1)) * w) << 4);
    const row = f32x4.add(f32x4.add(f32x4.mul(k0, v128.load(p + x0)), f32x4.mul(k1, v128.load(p + x1))), f32x4.add(f32x4.mul(k2, v128.load(p + x2)), f32x4.mul(k3, v128.load(p + x3))));
    sum = f32x4.add(sum, f32x4.mul(v128.load32_splat(tmp + (<usize>j << 2), 16), row));
  }
  return sum;
}

/** `held`: one byte a cell, 0 where neither picture holds anything that could come there. Writes interleaved RGBA. scratch: 12 floats and one proposal set a lane. */
export function between(a: usize, b: usize, w: i32, h: i32, grid: usize, held: usize, gw: i32, gh: i32, shift: i32, count: i32, t: f32, doubt: f32, same: f32, out: usize, from: i32, to: i32, scratch: usize): void {
  const s: f32 = 1 - t;
  const scale = <f32>1 / <f32>(1 << shift);
  const cell = <usize>count << 4;
  const now = scratch + 32;
  const zero = f32x4.splat(0);
  for (let y = from; y < to; y++) {
    const gy = max<f32>(0, min<f32>(<f32>(gh - 1), (<f32>y + <f32>0.5) * scale - <f32>0.5));
    const j0 = <i32>gy, j1 = min(gh - 1, j0 + 1);
    const ty = f32x4.splat(gy - <f32>j0);
    const heldRow = held + <usize>(min(gh - 1, y >> shift) * gw);
    for (let x = 0; x < w; x++) {
      const o = <usize>(y * w + x) << 4;
      if (load<u8>(heldRow + min(gw - 1, x >> shift)) == 0) { v128.store(out + o, zero); continue; }
      const gx = max<f32>(0, min<f32>(<f32>(gw - 1), (<f32>x + <f32>0.5) * scale - <f32>0.5));
      const i0 = <i32>gx, i1 = min(gw - 1, i0 + 1);
      const tx = f32x4.splat(gx - <f32>i0);
      const p00 = grid + <usize>(j0 * gw + i0) * cell, p10 = grid + <usize>(j0 * gw + i1) * cell, p01 = grid + <usize>(j1 * gw + i0) * cell, p11 = grid + <usize>(j1 * gw + i1) * cell;
      for (let q: usize = 0; q < cell; q += 16) {
        const l0 = v128.load(p00 + q), l1 = v128.load(p01 + q);
        const top = f32x4.add(l0, f32x4.mul(tx, f32x4.sub(v128.load(p10 + q), l0))), low = f32x4.add(l1, f32x4.mul(tx, f32x4.sub(v128.load(p11 + q), l1)));
        v128.store(now + q, f32x4.add(top, f32x4.mul(ty, f32x4.sub(low, top))));
      }
      // A proposal that says the same as one before it lends it its weight: what it would fetch is there already.
      for (let q: usize = 16; q < cell; q += 16) {
        for (let r: usize = 0; r < q; r += 16) {
          if (Mathf.abs(load<f32>(now + q) - load<f32>(now + r)) + Mathf.abs(load<f32>(now + q, 4) - load<f32>(now + r, 4)) < same) {
            store<f32>(now + r, load<f32>(now + r, 8) + load<f32>(now + q, 8), 8);
            store<f32>(now + r, load<f32>(now + r, 12) + load<f32>(now + q, 12), 12);
            v128.store(now + q, zero);
            break;
          }
        }
      }
      let weight = doubt;
      let sum = f32x4.mul(f32x4.splat(doubt), f32x4.add(f32x4.mul(f32x4.splat(s), v128.load(a + o)), f32x4.mul(f32x4.splat(t), v128.load(b + o))));
      for (let q: usize = 0; q < cell; q += 16) {
        const u = load<f32>(now + q), v = load<f32>(now + q, 4), w0 = load<f32>(now + q, 8), w1 = load<f32>(now + q, 12);
        // Far less than the plain mix weighs: not worth the reading.
        if (w0 > <f32>0.0005) { weight += w0; sum = f32x4.add(sum, f32x4.mul(f32x4.splat(w0), readKeys(a, w, h, <f32>x - t * u, <f32>y - t * v, scratch))); }
        if (w1 > <f32>0.0005) { weight += w1; sum = f32x4.add(sum, f32x4.mul(f32x4.splat(w1), readKeys(b, w, h, <f32>x + s * u, <f32>y + s * v, scratch))); }
      }
      // Bicubic weights overshoot: light is never below 0, coverage never outside 0..1.
      const r = f32x4.max(zero, f32x4.mul(sum, f32x4.splat(<f32>1 / weight)));
      v128.store(out + o, f32x4.replace_lane(r, 3, min<f32>(1, f32x4.extract_lane(r, 3))));
    }
  }
}
