// Reads all channels of a planar picture between pixels. A level record is five 32-bit words: pointer,
// width, height, plane stride in bytes, unused. Results go to `out` (one float a channel, added). filter: 0
// nearest, 1 bilinear, 2 bicubic, 3 Lanczos-3; `table` holds 1025 rows of 4 (bicubic) or 8 (Lanczos, two
// zero) weights. boundary: 0 clamp, 1 mirror, 2 zero.

function mirrorIndex(i: i32, n: i32): i32 {
  const period = 2 * n;
  let k = i % period;
  if (k < 0) k += period;
  return k < n ? k : period - 1 - k;
}

// @ts-ignore: decorator
@inline
function edge(i: i32, n: i32, boundary: i32): i32 {
  if (i >= 0 && i < n) return i;
  if (boundary == 2) return -1;
  if (boundary == 0) return i < 0 ? 0 : n - 1;
  return mirrorIndex(i, n);
}

/** Any filter, any place: `count` taps each way from (x0, y0), weights at wx, wy. */
function slow(
  base: usize, w: i32, h: i32, stride: usize, channels: i32, x0: i32, y0: i32, count: i32, wx: usize, wy: usize,
  boundary: i32, out: usize,
): void {
  for (let c = 0; c < channels; c++) {
    let sum: f32 = 0;
    for (let j = 0; j < count; j++) {
      const y = edge(y0 + j, h, boundary);
      if (y < 0) continue;
      let row: f32 = 0;
      const p = base + <usize>y * (<usize>w << 2);
      for (let i = 0; i < count; i++) {
        const x = edge(x0 + i, w, boundary);
        if (x >= 0) row += load<f32>(wx + (<usize>i << 2)) * load<f32>(p + (<usize>x << 2));
      }
      sum += load<f32>(wy + (<usize>j << 2)) * row;
    }
    const o = out + (<usize>c << 2);
    store<f32>(o, load<f32>(o) + sum);
    base += stride;
  }
}

// @ts-ignore: decorator
@inline
function sumLanes(v: v128): f32 {
  const t = f32x4.add(v, v128.shuffle<i32>(v, v, 2, 3, 2, 3));
  return f32x4.extract_lane(t, 0) + f32x4.extract_lane(t, 1);
}

/** `tmp`: 16 floats of scratch for bilinear weights at the edge. */
export function sampleAdd(
  level: usize, channels: i32, u: f64, v: f64, filter: i32, boundary: i32, table: usize, tmp: usize, out: usize,
): void {
  const base = <usize>load<u32>(level);
  const w = load<i32>(level, 4), h = load<i32>(level, 8);
  const stride = <usize>load<u32>(level, 12);
  if (filter == 0) {
    const x = edge(<i32>Math.floor(u), w, boundary), y = edge(<i32>Math.floor(v), h, boundary);
    if (x < 0 || y < 0) return;
    let p = base + ((<usize>y * <usize>w + <usize>x) << 2);
    for (let c = 0; c < channels; c++) {
      const o = out + (<usize>c << 2);
      store<f32>(o, load<f32>(o) + load<f32>(p));
      p += stride;
    }
    return;
  }
  const a = u - 0.5, b = v - 0.5;
  const fx = Math.floor(a), fy = Math.floor(b);
  const x = <i32>fx, y = <i32>fy;
  if (filter == 1) {
    const ax = <f32>(a - fx), ay = <f32>(b - fy);
    if (x >= 0 && y >= 0 && x + 1 < w && y + 1 < h) {
      let p = base + ((<usize>y * <usize>w + <usize>x) << 2);
      const row = <usize>w << 2;
      const bx: f32 = 1 - ax, by: f32 = 1 - ay;
      for (let c = 0; c < channels; c++) {
        const o = out + (<usize>c << 2);
        store<f32>(
          o,
          load<f32>(o) + by * (bx * load<f32>(p) + ax * load<f32>(p, 4))
            + ay * (bx * load<f32>(p + row) + ax * load<f32>(p + row, 4)),
        );
        p += stride;
      }
      return;
    }
    if (boundary == 2 && (x < -1 || y < -1 || x >= w || y >= h)) return;
    store<f32>(tmp, <f32>1 - ax);
    store<f32>(tmp, ax, 4);
    store<f32>(tmp, <f32>1 - ay, 16);
    store<f32>(tmp, ay, 20);
    slow(base, w, h, stride, channels, x, y, 2, tmp, tmp + 16, boundary, out);
    return;
  }
  const ix = <usize>(<i32>Math.floor((a - fx) * 1024 + 0.5)), iy = <usize>(<i32>Math.floor((b - fy) * 1024 + 0.5));
  const row = <usize>w << 2;
  if (filter == 2) {
    const wx = table + (ix << 4), wy = table + (iy << 4);
    if (x >= 1 && y >= 1 && x + 2 < w && y + 2 < h) {
      let p = base + ((<usize>(y - 1) * <usize>w + <usize>(x - 1)) << 2);
      const kx = v128.load(wx);
      const k0 = f32x4.splat(load<f32>(wy)), k1 = f32x4.splat(load<f32>(wy, 4));
      const k2 = f32x4.splat(load<f32>(wy, 8)), k3 = f32x4.splat(load<f32>(wy, 12));
      for (let c = 0; c < channels; c++) {
        const s = f32x4.add(
          f32x4.add(f32x4.mul(k0, v128.load(p)), f32x4.mul(k1, v128.load(p + row))),
          f32x4.add(f32x4.mul(k2, v128.load(p + 2 * row)), f32x4.mul(k3, v128.load(p + 3 * row))));
        const o = out + (<usize>c << 2);
        store<f32>(o, load<f32>(o) + sumLanes(f32x4.mul(kx, s)));
        p += stride;
      }
      return;
    }
    if (boundary == 2 && (x < -2 || y < -2 || x > w || y > h)) return;
    slow(base, w, h, stride, channels, x - 1, y - 1, 4, wx, wy, boundary, out);
    return;
  }
  const wx = table + (ix << 5), wy = table + (iy << 5);
  // Eight floats are read a row, so two more to the right must exist (their weights are
  // zero, but not so the product of NaN).
  if (x >= 2 && y >= 2 && x + 5 < w && y + 3 < h) {
    let p = base + ((<usize>(y - 2) * <usize>w + <usize>(x - 2)) << 2);
    const lx = v128.load(wx), hx = v128.load(wx, 16);
    for (let c = 0; c < channels; c++) {
      let lo = f32x4.splat(0), hi = f32x4.splat(0);
      let q = p;
      for (let j: usize = 0; j < 6; j++) {
        const k = f32x4.splat(load<f32>(wy + (j << 2)));
        lo = f32x4.add(lo, f32x4.mul(k, v128.load(q)));
        hi = f32x4.add(hi, f32x4.mul(k, v128.load(q, 16)));
        q += row;
      }
      const o = out + (<usize>c << 2);
      store<f32>(o, load<f32>(o) + sumLanes(f32x4.add(f32x4.mul(lx, lo), f32x4.mul(hx, hi))));
      p += stride;
    }
    return;
  }
  if (boundary == 2 && (x < -3 || y < -3 || x > w + 1 || y > h + 1)) return;
  slow(base, w, h, stride, channels, x - 2, y - 2, 6, wx, wy, boundary, out);
}
