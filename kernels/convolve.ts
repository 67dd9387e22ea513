// Separable convolution, rows `from`..`to` of the result: each needed source row is filtered across once into a ring of
// nY rows, which the column taps then read while it is still in the cache. Twin: convolveSeparablePlain. What is 0 as
// far as the taps reach (the margins of a matte, of a shadow) is passed by: the answer there is 0, exactly.
// scratch: (w + 2 rX + 32) floats for the padded line, nY pointers, nY spans, then nY rows of roundUp16(w) floats.

import { boundaryIndex } from './boundary';

// @ts-ignore: decorator
@inline
function roundUp16(n: i32): i32 {
  return (n + 15) & ~15;
}

/** Where the values of a line of n that are not 0 begin; n if there are none. In steps of four. */
// @ts-ignore: decorator
@inline
function firstHeld(line: usize, n: i32): i32 {
  let i = 0;
  while (i + 4 <= n && !v128.any_true(v128.load(line + (<usize>i << 2)))) i += 4;
  while (i < n && i + 4 > n && load<u32>(line + (<usize>i << 2)) == 0) i++;
  return i;
}

/** Where they end, from `first` on. */
// @ts-ignore: decorator
@inline
function lastHeld(line: usize, first: i32, n: i32): i32 {
  let i = n;
  while (i - 4 >= first && !v128.any_true(v128.load(line + (<usize>(i - 4) << 2)))) i -= 4;
  return i;
}

/**
 * A row filtered across into `out`; `span` is told from where to where (in 16s) it may hold anything: beyond stand
 * zeros, since all that the taps reach there is 0.
 */
function filterAcross(row: usize, out: usize, w: i32, taps: usize, n: i32, mode: i32, line: usize, span: usize): void {
  const r = n >> 1;
  memory.copy(line + (<usize>r << 2), row, <usize>w << 2);
  for (let i = 1; i <= r; i++) {
    const a = boundaryIndex(-i, w, mode);
    const b = boundaryIndex(w - 1 + i, w, mode);
    store<f32>(line + (<usize>(r - i) << 2), a < 0 ? <f32>0 : load<f32>(row + (<usize>a << 2)));
    store<f32>(line + (<usize>(r + w - 1 + i) << 2), b < 0 ? <f32>0 : load<f32>(row + (<usize>b << 2)));
  }
  const held = firstHeld(line, w + 2 * r);
  const begin = max(0, held - 2 * r) & ~15, end = held == w + 2 * r ? begin : min(w, lastHeld(line, held, w + 2 * r));
  const stop = max(begin, roundUp16(end)), all = roundUp16(w);
  store<i32>(span, begin);
  store<i32>(span, stop, 4);
  memory.fill(out, 0, <usize>min(begin, all) << 2);
  if (stop < all) memory.fill(out + (<usize>stop << 2), 0, <usize>(all - stop) << 2);
  for (let x = begin; x < stop; x += 16) {
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

/**
 * Rows `from`..`to` of a plane of `w` × `h` floats filtered by `nX` taps across and `nY` down (odd counts), by the
 * boundary rule `mode` (boundary.ts). `dst` may not be `src`.
 */
export function convolveSeparable(
  src: usize, dst: usize, w: i32, h: i32, tapsX: usize, nX: i32, tapsY: usize, nY: i32, mode: i32, from: i32, to: i32,
  scratch: usize,
): void {
  const rY = nY >> 1;
  const line = scratch;
  const rows = line + (<usize>(w + (nX & ~1) + 32) << 2);
  const spans = rows + (<usize>nY << 2);
  const ring = (spans + (<usize>nY << 3) + 63) & ~63;
  const stride = <usize>roundUp16(w) << 2;
  let done = max(0, from - rY); // next source row to filter across
  for (let y = from; y < to; y++) {
    const last = min(h - 1, y + rY);
    while (done <= last) {
      const at = <usize>(done % nY);
      filterAcross(
        src + <usize>done * (<usize>w << 2), ring + at * stride, w, tapsX, nX, mode, line, spans + (at << 3),
      );
      done++;
    }
    let begin = w, end = 0;
    for (let t = 0; t < nY; t++) {
      const k = boundaryIndex(y + t - rY, h, mode);
      store<u32>(rows + (<usize>t << 2), k < 0 ? 0 : <u32>(ring + <usize>(k % nY) * stride));
      if (k < 0) continue;
      const from = load<i32>(spans + (<usize>(k % nY) << 3)), upTo = load<i32>(spans + (<usize>(k % nY) << 3), 4);
      if (from >= upTo) continue;
      begin = min(begin, from);
      end = max(end, upTo);
    }
    const o = dst + <usize>y * (<usize>w << 2);
    if (begin >= end) {
      memory.fill(o, 0, <usize>w << 2);
      continue;
    }
    end = min(w, end);
    memory.fill(o, 0, <usize>begin << 2);
    memory.fill(o + (<usize>end << 2), 0, <usize>(w - end) << 2);
    let x = begin;
    for (; x + 16 <= end; x += 16) {
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
    for (; x < end; x++) {
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
