// Flecks along the edge of a cast shadow (see src/join/peel/shadow-flecks.ts). In doubles where a decision hangs on it,
// sums and bounds held as floats, as the plain twin takeShadowFlecksPlain has them.

// @ts-ignore: decorator
@inline
function light(data: usize, n: i32, i: i32): f64 {
  const p = data + (<usize>i << 2), plane = <usize>n << 2;
  return <f64>load<f32>(p) + <f64>load<f32>(p + plane) + <f64>load<f32>(p + 2 * plane);
}

/**
 * labels: parts of what is not sure, 0 on the screen; area: pixels a label. A part of at most `most` pixels
 * whose surroundings within `border` hold screen darker than `shallow` times other screen, and whose mean is
 * between `darkest` times the one and `brightest` times the other, becomes sure and its own screen colour.
 * stats: room for 3 floats a label. changed: i32. One item.
 */
export function shadowFlecks(
  data: usize, colour: usize, sure: usize, labels: usize, area: usize, count: i32, w: i32, h: i32, most: f64,
  border: i32, shallow: f64, darkest: f64, brightest: f64, stats: usize, changed: usize, from: i32, to: i32,
  scratch: usize,
): void {
  const n = w * h, plane = <usize>n << 2;
  for (let l = 0; l < count; l++) {
    const p = stats + <usize>l * 12;
    store<f32>(p, Infinity);
    store<f32>(p, 0, 4);
    store<f32>(p, 0, 8);
  }
  for (let y = 0, i = 0; y < h; y++) {
    for (let x = 0; x < w; x++, i++) {
      if (x + 4 <= w && !v128.any_true(v128.load(labels + (<usize>i << 2)))) { x += 3; i += 3; continue; }
      const l = load<i32>(labels + (<usize>i << 2));
      if (l == 0 || <f64>load<i32>(area + (<usize>l << 2)) > most) continue;
      const p = stats + <usize>l * 12;
      store<f32>(p, <f32>(<f64>load<f32>(p, 8) + light(data, n, i)), 8);
      for (let v = max(0, y - border); v <= min(h - 1, y + border); v++) {
        for (let u = max(0, x - border); u <= min(w - 1, x + border); u++) {
          const j = v * w + u;
          if (load<u8>(sure + <usize>j) == 0) continue;
          const b = light(data, n, j);
          if (b < <f64>load<f32>(p)) store<f32>(p, <f32>b);
          if (b > <f64>load<f32>(p, 4)) store<f32>(p, <f32>b, 4);
        }
      }
    }
  }
  let taken = 0;
  for (let i = 0; i < n; i++) {
    if (i + 4 <= n && !v128.any_true(v128.load(labels + (<usize>i << 2)))) { i += 3; continue; }
    const l = load<i32>(labels + (<usize>i << 2));
    if (l == 0) continue;
    const size = <f64>load<i32>(area + (<usize>l << 2)), p = stats + <usize>l * 12;
    const dark = <f64>load<f32>(p), lit = <f64>load<f32>(p, 4);
    if (size > most || !(dark < shallow * lit)) continue;
    const mean = <f64>load<f32>(p, 8) / size;
    if (mean < darkest * dark || mean > brightest * lit) continue;
    for (let c: usize = 0; c < 3; c++)
      store<f32>(colour + c * plane + (<usize>i << 2), load<f32>(data + c * plane + (<usize>i << 2)));
    store<u8>(sure + <usize>i, 1);
    taken++;
  }
  store<i32>(changed, taken);
}
