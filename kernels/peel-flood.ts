// Greyscale reconstruction by erosion as a minimax flood with one bucket a grey level. Sequential. Twin: fillHoles in
// src/join/peel/fill-holes.ts.

// @ts-ignore: decorator
@inline
function visit(j: i32, l: i32, alpha: usize, state: usize, level: usize, next: usize, heads: usize): void {
  // Bit 2: seen. Pixels out of the band are never entered.
  const s = load<u8>(state + <usize>j);
  if (s == 0 || (s & 4) != 0) return;
  store<u8>(state + <usize>j, s | 4);
  const own = <i32>(load<f32>(alpha + (<usize>j << 2)) * 255);
  const to = max(own, l);
  store<u8>(level + <usize>j, <u8>to);
  if (to == 255) return;
  store<i32>(next + (<usize>j << 2), load<i32>(heads + (<usize>to << 2)));
  store<i32>(heads + (<usize>to << 2), j);
}

/**
 * `state`: 0 closed, 1 open, 3 open and a source of the flood. Leaves in `level` (bytes) the lowest pass
 * from a source in 255ths, 255 where there is none; only of open pixels. next: an Int32 a pixel. Scratch:
 * 256 Int32. Rows y0 to y1 hold all that is open.
 */
export function peelFlood(
  alpha: usize, state: usize, level: usize, next: usize, w: i32, h: i32, y0: i32, y1: i32, from: i32, to: i32,
  scratch: usize,
): void {
  memory.fill(scratch, 0xff, 1024);
  const n = w * h, last = w * y1;
  memory.fill(level + <usize>(w * y0), 0xff, <usize>(last - w * y0));
  for (let i = w * y0; i < last; i++) {
    // Eight closed pixels at a time.
    if (i + 8 <= last && load<u64>(state + <usize>i) == 0) { i += 7; continue; }
    const s = load<u8>(state + <usize>i);
    if (s == 3) visit(i, 0, alpha, state, level, next, scratch);
  }
  for (let l = 0; l < 255; l++) {
    const head = scratch + (<usize>l << 2);
    for (;;) {
      const i = load<i32>(head);
      if (i < 0) break;
      store<i32>(head, load<i32>(next + (<usize>i << 2)));
      const x = i % w;
      if (x > 0) visit(i - 1, l, alpha, state, level, next, scratch);
      if (x < w - 1) visit(i + 1, l, alpha, state, level, next, scratch);
      if (i >= w) visit(i - w, l, alpha, state, level, next, scratch);
      if (i < n - w) visit(i + w, l, alpha, state, level, next, scratch);
    }
  }
}
