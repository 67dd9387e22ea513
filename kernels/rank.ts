// Running maximum or minimum over 2 r + 1 values by doubling: windows of 1, 2, 4 … values, and the last from two that
// overlap. log2 of the width in passes, all of them vector loads, which beats van Herk's three scalar comparisons here.
// Twin: rankRectPlain. scratch across: w + 2 r + 16 floats; down: (h + 2 r) × 16 floats.

// @ts-ignore: decorator
@inline
function pick(a: v128, b: v128, isMax: i32): v128 {
  return isMax != 0 ? f32x4.max(a, b) : f32x4.min(a, b);
}

/** Maximum (`isMax` not 0) or minimum over 2 r + 1 values along rows `from`..`to`; beyond the border nothing counts. */
export function rankAcross(
  src: usize, dst: usize, w: i32, r: i32, isMax: i32, from: i32, to: i32, scratch: usize,
): void {
  const pad: f32 = isMax != 0 ? -f32.MAX_VALUE : f32.MAX_VALUE;
  const size = w + 2 * r, k = 2 * r + 1;
  for (let y = from; y < to; y++) {
    for (let i = 0; i < r; i++) {
      store<f32>(scratch + (<usize>i << 2), pad);
      store<f32>(scratch + (<usize>(r + w + i) << 2), pad);
    }
    for (let i = size; i < size + 8; i++) store<f32>(scratch + (<usize>i << 2), pad);
    memory.copy(scratch + (<usize>r << 2), src + <usize>y * (<usize>w << 2), <usize>w << 2);
    let s = 1;
    // In place, ascending: what is read ahead has not been written yet. The tail reads padding.
    while (2 * s <= k) {
      const n = size - s;
      for (let i = 0; i < n; i += 4) {
        const p = scratch + (<usize>i << 2);
        v128.store(p, pick(v128.load(p), v128.load(p + (<usize>s << 2)), isMax));
      }
      s *= 2;
    }
    const shift = <usize>(k - s) << 2;
    const d = dst + <usize>y * (<usize>w << 2);
    let x = 0;
    for (; x + 4 <= w; x += 4) {
      const p = scratch + (<usize>x << 2);
      v128.store(d + (<usize>x << 2), pick(v128.load(p), v128.load(p + shift), isMax));
    }
    for (; x < w; x++) {
      const a = load<f32>(scratch + (<usize>x << 2)), b = load<f32>(scratch + (<usize>x << 2) + shift);
      store<f32>(d + (<usize>x << 2), isMax != 0 ? max(a, b) : min(a, b));
    }
  }
}

/** Items are strips of 16 columns. */
export function rankDown(
  src: usize, dst: usize, w: i32, h: i32, r: i32, isMax: i32, from: i32, to: i32, scratch: usize,
): void {
  const pad: f32 = isMax != 0 ? -f32.MAX_VALUE : f32.MAX_VALUE;
  const size = h + 2 * r, k = 2 * r + 1;
  const stride = <usize>w << 2;
  for (let strip = from; strip < to; strip++) {
    const x = strip << 4;
    const take = <usize>min(16, w - x) << 2;
    const vp = f32x4.splat(pad);
    for (let y = 0; y < size; y++) {
      const p = scratch + (<usize>y << 6);
      v128.store(p, vp); v128.store(p, vp, 16); v128.store(p, vp, 32); v128.store(p, vp, 48);
      if (y >= r && y < r + h) memory.copy(p, src + <usize>(y - r) * stride + (<usize>x << 2), take);
    }
    let s = 1;
    while (2 * s <= k) {
      const n = size - s;
      const off = <usize>s << 6;
      for (let i = 0; i < n; i++) {
        const p = scratch + (<usize>i << 6), q = p + off;
        v128.store(p, pick(v128.load(p), v128.load(q), isMax));
        v128.store(p, pick(v128.load(p, 16), v128.load(q, 16), isMax), 16);
        v128.store(p, pick(v128.load(p, 32), v128.load(q, 32), isMax), 32);
        v128.store(p, pick(v128.load(p, 48), v128.load(q, 48), isMax), 48);
      }
      s *= 2;
    }
    const off = <usize>(k - s) << 6;
    for (let y = 0; y < h; y++) {
      const p = scratch + (<usize>y << 6), q = p + off;
      v128.store(p, pick(v128.load(p), v128.load(q), isMax));
      v128.store(p, pick(v128.load(p, 16), v128.load(q, 16), isMax), 16);
      v128.store(p, pick(v128.load(p, 32), v128.load(q, 32), isMax), 32);
      v128.store(p, pick(v128.load(p, 48), v128.load(q, 48), isMax), 48);
      memory.copy(dst + <usize>y * stride + (<usize>x << 2), p, take);
    }
  }
}
