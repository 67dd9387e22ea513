// Planar floats 0..1 to the rows of a 16-bit PNG, filtered by the sample to the left (PNG, W3C 2025, clauses 7.2 and 9.2: filter
// 1, bytes apart). Held by reading the pictures back (png-sequence.test.ts).

// @ts-ignore: decorator
@inline
function code(p: usize): i32 {
  const v = load<f32>(p) * 65535 + 0.5;
  // NaN and whatever is below give 0.
  return v > 0 ? (v < 65535 ? <i32>v : 65535) : 0;
}

/** Rows of 1 + 2 · channels · w bytes. Values outside x0..x1, y0..y1 are taken as 0. Items: rows. */
export function pngRows(src: usize, w: i32, h: i32, channels: i32, x0: i32, y0: i32, x1: i32, y1: i32, dst: usize, from: i32, to: i32, scratch: usize): void {
  const stride = <usize>(1 + 2 * channels * w);
  const plane = <usize>w * <usize>h << 2;
  for (let y = from; y < to; y++) {
    let o = dst + <usize>y * stride;
    memory.fill(o, 0, stride);
    store<u8>(o, 1);
    if (y < y0 || y >= y1 || x1 <= x0) continue;
    const line = src + (<usize>(y * w) << 2);
    for (let c = 0; c < channels; c++) {
      let before = 0;
      let p = line + <usize>c * plane + (<usize>x0 << 2);
      let q = o + 1 + <usize>(2 * (channels * x0 + c));
      for (let x = x0; x < x1; x++) {
        const v = code(p);
        store<u8>(q, <u8>((v >> 8) - (before >> 8)));
        store<u8>(q, <u8>(v - before), 1);
        before = v;
        p += 4;
        q += <usize>(2 * channels);
      }
      if (x1 < w) {
        store<u8>(q, <u8>(-(before >> 8)));
        store<u8>(q, <u8>(-before), 1);
      }
    }
  }
}
