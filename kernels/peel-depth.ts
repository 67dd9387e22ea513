// Chamfer distance (3-4 weights) of the small picture to the set pixels of a mask and to those
// that are not set. Items: 0 to the set ones, 1 to the others, so that two lanes do one each.
// Twin: chamferDistance in src/join/peel/chamfer-distance.ts.

/**
 * `mask`: `w` × `h` bytes, 0 or 1; `toSet`, `toUnset`: as many floats, in thirds of a pixel; without any such pixel
 * 3e6.
 */
export function chamferPair(
  mask: usize, w: i32, h: i32, toSet: usize, toUnset: usize, from: i32, to: i32, scratch: usize,
): void {
  const row = <usize>w << 2;
  for (let item = from; item < to; item++) {
    const dst = item == 0 ? toSet : toUnset;
    const zero = <u8>(1 - item);
    for (let y = 0; y < h; y++) {
      const line = dst + <usize>y * row;
      const bits = mask + <usize>(y * w);
      for (let x = 0; x < w; x++) {
        const p = line + (<usize>x << 2);
        if (load<u8>(bits + <usize>x) == zero) {
          store<f32>(p, 0);
          continue;
        }
        let d: f32 = 3e6;
        if (y > 0) {
          d = min(d, load<f32>(p - row) + 3);
          if (x > 0) d = min(d, load<f32>(p - row - 4) + 4);
          if (x < w - 1) d = min(d, load<f32>(p - row + 4) + 4);
        }
        if (x > 0) d = min(d, load<f32>(p - 4) + 3);
        store<f32>(p, d);
      }
    }
    for (let y = h - 1; y >= 0; y--) {
      const line = dst + <usize>y * row;
      for (let x = w - 1; x >= 0; x--) {
        const p = line + (<usize>x << 2);
        let d = load<f32>(p);
        if (d == 0) continue;
        if (x < w - 1) d = min(d, load<f32>(p + 4) + 3);
        if (y < h - 1) {
          d = min(d, load<f32>(p + row) + 3);
          if (x > 0) d = min(d, load<f32>(p + row - 4) + 4);
          if (x < w - 1) d = min(d, load<f32>(p + row + 4) + 4);
        }
        store<f32>(p, d);
      }
    }
    // Whole numbers until here, so that a limit of whole pixels is met exactly.
    const n = w * h, three = f32x4.splat(3);
    let i = 0;
    for (; i + 4 <= n; i += 4) {
      const p = dst + (<usize>i << 2);
      v128.store(p, f32x4.div(v128.load(p), three));
    }
    for (; i < n; i++) store<f32>(dst + (<usize>i << 2), load<f32>(dst + (<usize>i << 2)) / 3);
  }
}
