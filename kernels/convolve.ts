// Separable convolution, rows `from`..`to` of the result: each needed source row is filtered across once into a ring of
// nY rows, which the column taps then read while it is still in the cache. Twin: convolveSeparablePlain.
// scratch: (w + 2 rX + 32) floats for the padded line, then nY pointers, then nY rows of roundUp16(w) floats.

import { boundaryIndex } from './boundary';

// @ts-ignore: decorator
@inline
function roundUp16(n: i32): i32 {
  return (n + 15) & ~15;
}

function filterAcross(row: usize, out: usize, w: i32, taps: usize, n: i32, mode: i32, line: usize): void {
  const r = n >> 1;
  memory.copy(line + (<usize>r << 2), row, <usize>w << 2);
  for (let i = 1; i <= r; i++) {
    const a = boundaryIndex(-i, w, mode);
    const b = boundaryIndex(w - 1 + i, w, mode);
    store<f32>(line + (<usize>(r - i) << 2), a < 0 ? <f32>0 : load<f32>(row + (<usize>a << 2)));
    store<f32>(line + (<usize>(r + w - 1 + i) << 2), b < 0 ? <f32>0 : load<f32>(row + (<usize>b << 2)));
  }
  for (let x = 0; x < w; x += 16) {
    let a0 = f32x4.splat(0), a1 = f32x4.splat(0), a2 = f32x4.splat(0), a3 = f32x4.splat(0);
    let p = line + (<usize>x << 2);
    for (let t = 0; t < n; t++) {
      const k = f32x4.splat(load<f32>(taps + (<usize>t << 2)));
      a0 = f32x4.add(a0, f32x4.mul(k, v128.load(p)));
      a1 = f32x4.add(a1, f32x4.mul(k, v128.load(p, 16)));
      a2 = f32x4.add(a2, f32x4.mul(k, v128.load(p, 32)));
      a3 = f32x4.add(a3, f32x4.mul(k, v128.load(p, 48)));
      p += 4;
    }
    const o = out + (<usize>x << 2);
    v128.store(o, a0);
    v128.store(o, a1, 16);
    v128.store(o, a2, 32);
    v128.store(o, a3, 48);
  }
}

export function convolveSeparable(
  src: usize, dst: usize, w: i32, h: i32, tapsX: usize, nX: i32, tapsY: usize, nY: i32, mode: i32, from: i32, to: i32,
  scratch: usize,
): void {
  const rY = nY >> 1;
  const line = scratch;
  const rows = line + (<usize>(w + (nX & ~1) + 32) << 2);
  const ring = (rows + (<usize>nY << 2) + 63) & ~63;
  const stride = <usize>roundUp16(w) << 2;
  let done = max(0, from - rY); // next source row to filter across
  for (let y = from; y < to; y++) {
    const last = min(h - 1, y + rY);
    while (done <= last) {
      filterAcross(src + <usize>done * (<usize>w << 2), ring + <usize>(done % nY) * stride, w, tapsX, nX, mode, line);
      done++;
    }
    for (let t = 0; t < nY; t++) {
      const k = boundaryIndex(y + t - rY, h, mode);
      store<u32>(rows + (<usize>t << 2), k < 0 ? 0 : <u32>(ring + <usize>(k % nY) * stride));
    }
    const o = dst + <usize>y * (<usize>w << 2);
    let x = 0;
    for (; x + 16 <= w; x += 16) {
      let a0 = f32x4.splat(0), a1 = f32x4.splat(0), a2 = f32x4.splat(0), a3 = f32x4.splat(0);
      for (let t = 0; t < nY; t++) {
        const base = <usize>load<u32>(rows + (<usize>t << 2));
        if (base == 0) continue;
        const p = base + (<usize>x << 2);
        const k = f32x4.splat(load<f32>(tapsY + (<usize>t << 2)));
        a0 = f32x4.add(a0, f32x4.mul(k, v128.load(p)));
        a1 = f32x4.add(a1, f32x4.mul(k, v128.load(p, 16)));
        a2 = f32x4.add(a2, f32x4.mul(k, v128.load(p, 32)));
        a3 = f32x4.add(a3, f32x4.mul(k, v128.load(p, 48)));
      }
      const q = o + (<usize>x << 2);
      v128.store(q, a0);
      v128.store(q, a1, 16);
      v128.store(q, a2, 32);
      v128.store(q, a3, 48);
    }
    for (; x < w; x++) {
      let a: f32 = 0;
      for (let t = 0; t < nY; t++) {
        const base = <usize>load<u32>(rows + (<usize>t << 2));
        if (base == 0) continue;
        a += load<f32>(tapsY + (<usize>t << 2)) * load<f32>(base + (<usize>x << 2));
      }
      store<f32>(o + (<usize>x << 2), a);
    }
  }
}
