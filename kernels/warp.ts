// Warps, rows from..to of the result. levels: `count` records of 20 bytes (see sample.ts); m: the nine doubles of the matrix
// from destination to source. scratch: 32 floats. Twins: warpHomographyPlain, warpMapPlain.

import { sampleAdd } from './sample';

const STEP: i32 = 16;
const MAX_GRID: i32 = 8;
const LEVEL_FROM: f64 = 4;

// @ts-ignore: decorator
@inline
function norm2(a: f64, b: f64): f64 {
  return Math.sqrt(a * a + b * b);
}

export function warpHomography(levels: usize, count: i32, channels: i32, m: usize, dst: usize, ow: i32, oh: i32, filter: i32, boundary: i32, footprint: i32, table: usize, from: i32, to: i32, scratch: usize): void {
  const m0 = load<f64>(m), m1 = load<f64>(m, 8), m2 = load<f64>(m, 16), m3 = load<f64>(m, 24), m4 = load<f64>(m, 32), m5 = load<f64>(m, 40);
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
        const sx = norm2((m0 - px * m6) / w0, (m3 - py * m6) / w0), sy = norm2((m1 - px * m7) / w0, (m4 - py * m7) / w0);
        if (sx < Infinity && sy < Infinity) {
          const least = min(sx, sy);
          let reach = LEVEL_FROM, k: f64 = 1;
          while (level + 1 < count && least >= reach) { level++; reach *= 2; k *= 0.5; }
          gx = <i32>min<f64>(MAX_GRID, max<f64>(1, Math.ceil(sx * k - 0.01)));
          gy = <i32>min<f64>(MAX_GRID, max<f64>(1, Math.ceil(sy * k - 0.01)));
        }
      }
      const record = levels + <usize>(level * 20);
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

export function warpMap(level: usize, channels: i32, mapX: usize, mapY: usize, dst: usize, ow: i32, oh: i32, filter: i32, boundary: i32, table: usize, from: i32, to: i32, scratch: usize): void {
  const plane = (<usize>ow * <usize>oh) << 2;
  const acc = scratch, tmp = scratch + 32;
  for (let y = from; y < to; y++) {
    for (let x = 0; x < ow; x++) {
      const i = (<usize>y * <usize>ow + <usize>x) << 2;
      v128.store(acc, f32x4.splat(0));
      const u = load<f32>(mapX + i), v = load<f32>(mapY + i);
      if (u > -1e6 && u < 1e6 && v > -1e6 && v < 1e6) sampleAdd(level, channels, <f64>u, <f64>v, filter, boundary, table, tmp, acc);
      let o = dst + i;
      for (let c = 0; c < channels; c++) {
        store<f32>(o, load<f32>(acc + (<usize>c << 2)));
        o += plane;
      }
    }
  }
}
