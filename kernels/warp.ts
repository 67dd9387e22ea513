// Warps, rows from..to of the result. levels: `count` records of 20 bytes (see sample.ts); m: the nine doubles of the
// matrix from destination to source. scratch: 32 floats. Twins: warpHomographyPlain, warpMapPlain.

import { sampleAdd } from './sample';

const STEP: i32 = 16;
const MAX_GRID: i32 = 8;
const LEVEL_FROM: f64 = 4;

// @ts-ignore: decorator
@inline
function norm2(a: f64, b: f64): f64 {
  return Math.sqrt(a * a + b * b);
}

// @ts-ignore: decorator
@inline
function sumLanes(v: v128): f32 {
  const t = f32x4.add(v, v128.shuffle<i32>(v, v, 2, 3, 2, 3));
  return f32x4.extract_lane(t, 0) + f32x4.extract_lane(t, 1);
}

/**
 * A run of pixels of one row, one sample each, all taps inside the source: no tests, nothing stored between. The same
 * sums in the same order as sample.ts, so that the border of a run can't be seen.
 */
function runInside(
  base: usize, w: i32, stride: usize, channels: i32, m: usize, y: i32, x0: i32, x1: i32, filter: i32, table: usize,
  dst: usize, plane: usize, ow: i32,
): void {
  const m0 = load<f64>(m), m3 = load<f64>(m, 24), m6 = load<f64>(m, 48);
  const cy = <f64>y + 0.5;
  const nu = load<f64>(m, 8) * cy + load<f64>(m, 16), nv = load<f64>(m, 32) * cy + load<f64>(m, 40);
  const nw = load<f64>(m, 56) * cy + load<f64>(m, 64);
  const row = <usize>w << 2;
  let o = dst + ((<usize>y * <usize>ow + <usize>x0) << 2);
  for (let x = x0; x < x1; x++) {
    const dx = <f64>x + 0.5;
    const k = 1.0 / (m6 * dx + nw);
    const a = (m0 * dx + nu) * k - 0.5, b = (m3 * dx + nv) * k - 0.5;
    const fx = Math.floor(a), fy = Math.floor(b);
    if (filter == 1) {
      const ax = <f32>(a - fx), ay = <f32>(b - fy), bx: f32 = 1 - ax, by: f32 = 1 - ay;
      let p = base + ((<usize><i32>fy * <usize>w + <usize><i32>fx) << 2), q = o;
      for (let c = 0; c < channels; c++) {
        store<f32>(
          q,
          by * (bx * load<f32>(p) + ax * load<f32>(p, 4)) + ay * (bx * load<f32>(p + row) + ax * load<f32>(p + row, 4)),
        );
        p += stride;
        q += plane;
      }
    } else {
      const ix = <usize><i32>((a - fx) * 1024 + 0.5), iy = <usize><i32>((b - fy) * 1024 + 0.5);
      if (filter == 2) {
        const kx = v128.load(table + (ix << 4)), ky = v128.load(table + (iy << 4));
        const k0 = v128.shuffle<i32>(ky, ky, 0, 0, 0, 0), k1 = v128.shuffle<i32>(ky, ky, 1, 1, 1, 1);
        const k2 = v128.shuffle<i32>(ky, ky, 2, 2, 2, 2), k3 = v128.shuffle<i32>(ky, ky, 3, 3, 3, 3);
        let p = base + ((<usize>(<i32>fy - 1) * <usize>w + <usize>(<i32>fx - 1)) << 2), q = o;
        for (let c = 0; c < channels; c++) {
          const p2 = p + row + row;
          const s = f32x4.add(
            f32x4.add(f32x4.mul(k0, v128.load(p)), f32x4.mul(k1, v128.load(p + row))),
            f32x4.add(f32x4.mul(k2, v128.load(p2)), f32x4.mul(k3, v128.load(p2 + row))));
          store<f32>(q, sumLanes(f32x4.mul(kx, s)));
          p += stride;
          q += plane;
        }
      } else {
        const wx = table + (ix << 5), wy = table + (iy << 5);
        const lx = v128.load(wx), hx = v128.load(wx, 16);
        let p = base + ((<usize>(<i32>fy - 2) * <usize>w + <usize>(<i32>fx - 2)) << 2), q = o;
        for (let c = 0; c < channels; c++) {
          let lo = f32x4.splat(0), hi = f32x4.splat(0), r = p;
          for (let j: usize = 0; j < 24; j += 4) {
            const kk = f32x4.splat(load<f32>(wy + j));
            lo = f32x4.add(lo, f32x4.mul(kk, v128.load(r)));
            hi = f32x4.add(hi, f32x4.mul(kk, v128.load(r, 16)));
            r += row;
          }
          store<f32>(q, sumLanes(f32x4.add(f32x4.mul(lx, lo), f32x4.mul(hx, hi))));
          p += stride;
          q += plane;
        }
      }
    }
    o += 4;
  }
}

/**
 * Rows `from`..`to` of `dst` (`channels` planes of `ow` × `oh` floats) through the homography `m`; with `footprint`
 * from the level and by the grid of samples that a pixel's own reach asks for.
 */
export function warpHomography(
  levels: usize, count: i32, channels: i32, m: usize, dst: usize, ow: i32, oh: i32, filter: i32, boundary: i32,
  footprint: i32, table: usize, from: i32, to: i32, scratch: usize,
): void {
  const m0 = load<f64>(m), m1 = load<f64>(m, 8), m2 = load<f64>(m, 16);
  const m3 = load<f64>(m, 24), m4 = load<f64>(m, 32), m5 = load<f64>(m, 40);
  const m6 = load<f64>(m, 48), m7 = load<f64>(m, 56), m8 = load<f64>(m, 64);
  const plane = (<usize>ow * <usize>oh) << 2;
  const acc = scratch, tmp = scratch + 32;
  for (let y = from; y < to; y++) {
    for (let x0 = 0; x0 < ow; x0 += STEP) {
      const x1 = min(ow, x0 + STEP);
      const cx = 0.5 * <f64>(x0 + x1), cy = <f64>y + 0.5;
      const w0 = m6 * cx + m7 * cy + m8;
      let level = 0, gx = 1, gy = 1;
      if (footprint != 0) {
        const px = (m0 * cx + m1 * cy + m2) / w0, py = (m3 * cx + m4 * cy + m5) / w0;
        const sx = norm2((m0 - px * m6) / w0, (m3 - py * m6) / w0);
        const sy = norm2((m1 - px * m7) / w0, (m4 - py * m7) / w0);
        if (sx < Infinity && sy < Infinity) {
          const least = min(sx, sy);
          let reach = LEVEL_FROM, k: f64 = 1;
          while (level + 1 < count && least >= reach) { level++; reach *= 2; k *= 0.5; }
          gx = <i32>min<f64>(MAX_GRID, max<f64>(1, Math.ceil(sx * k - 0.25)));
          gy = <i32>min<f64>(MAX_GRID, max<f64>(1, Math.ceil(sy * k - 0.25)));
        }
      }
      const record = levels + <usize>(level * 20);
      if (filter != 0 && level == 0 && gx == 1 && gy == 1) {
        // A straight line stays straight: if both ends of the run lie well inside, so does the rest.
        const ax = <f64>x0 + 0.5, bx = <f64>x1 - 0.5;
        const aw = m6 * ax + m7 * cy + m8, bw = m6 * bx + m7 * cy + m8;
        if (aw * bw > 0) {
          const au = (m0 * ax + m1 * cy + m2) / aw, av = (m3 * ax + m4 * cy + m5) / aw;
          const bu = (m0 * bx + m1 * cy + m2) / bw, bv = (m3 * bx + m4 * cy + m5) / bw;
          const sw = load<i32>(record, 4), sh = load<i32>(record, 8);
          if (min(au, bu) > 3.5 && min(av, bv) > 3.5 && max(au, bu) < <f64>sw - 6.5 && max(av, bv) < <f64>sh - 4.5) {
            runInside(
              <usize>load<u32>(record), sw, <usize>load<u32>(record, 12), channels, m, y, x0, x1, filter, table, dst,
              plane, ow,
            );
            continue;
          }
        }
      }
      let scale: f64 = 1;
      for (let l = 0; l < level; l++) scale *= 0.5;
      const ix = 1.0 / <f64>gx, iy = 1.0 / <f64>gy;
      const share = f32x4.splat(<f32>1 / <f32>(gx * gy));
      for (let x = x0; x < x1; x++) {
        v128.store(acc, f32x4.splat(0));
        for (let j = 0; j < gy; j++) {
          const dy = <f64>y + (<f64>j + 0.5) * iy;
          for (let i = 0; i < gx; i++) {
            const dx = <f64>x + (<f64>i + 0.5) * ix;
            const w = m6 * dx + m7 * dy + m8;
            if (w * w0 <= 0) continue;
            const k = 1.0 / w;
            const u = (m0 * dx + m1 * dy + m2) * k, v = (m3 * dx + m4 * dy + m5) * k;
            if (u < -1e6 || u > 1e6 || v < -1e6 || v > 1e6) continue;
            sampleAdd(record, channels, u * scale, v * scale, filter, boundary, table, tmp, acc);
          }
        }
        v128.store(acc, f32x4.mul(v128.load(acc), share));
        let o = dst + ((<usize>y * <usize>ow + <usize>x) << 2);
        for (let c = 0; c < channels; c++) {
          store<f32>(o, load<f32>(acc + (<usize>c << 2)));
          o += plane;
        }
      }
    }
  }
}

/**
 * The same through a map: `mapX`, `mapY` say for every pixel of `dst` where it lies in the source, px; 0 where beyond
 * a million.
 */
export function warpMap(
  level: usize, channels: i32, mapX: usize, mapY: usize, dst: usize, ow: i32, oh: i32, filter: i32, boundary: i32,
  table: usize, from: i32, to: i32, scratch: usize,
): void {
  const plane = (<usize>ow * <usize>oh) << 2;
  const acc = scratch, tmp = scratch + 32;
  for (let y = from; y < to; y++) {
    for (let x = 0; x < ow; x++) {
      const i = (<usize>y * <usize>ow + <usize>x) << 2;
      v128.store(acc, f32x4.splat(0));
      const u = load<f32>(mapX + i), v = load<f32>(mapY + i);
      if (u > -1e6 && u < 1e6 && v > -1e6 && v < 1e6)
        sampleAdd(level, channels, <f64>u, <f64>v, filter, boundary, table, tmp, acc);
      let o = dst + i;
      for (let c = 0; c < channels; c++) {
        store<f32>(o, load<f32>(acc + (<usize>c << 2)));
        o += plane;
      }
    }
  }
}
