// How soft a matte's outline is (see softEdgePx in src/join/render/soft-edge.ts). Twin: softEdgeSumsPlain.

/**
 * Sums over the rows from the second on, and the columns from the second on: 4 a (1 − a), and pixels across whose left
 * or upper side the matte passes one half. Two doubles at out. One item.
 */
export function softEdge(alpha: usize, w: i32, h: i32, out: usize, from: i32, to: i32, scratch: usize): void {
  const half = f32x4.splat(0.5), one = f32x4.splat(1), next = <usize>w << 2;
  let soft: f64 = 0;
  let edge = 0;
  for (let y = 1; y < h; y++) {
    const row = alpha + <usize>y * next;
    let sum = f32x4.splat(0);
    let x = 1;
    for (; x + 4 <= w; x += 4) {
      const p = row + (<usize>x << 2);
      const a = v128.load(p), l = v128.load(p - 4), u = v128.load(p - next);
      sum = f32x4.add(sum, f32x4.mul(a, f32x4.sub(one, a)));
      const on = f32x4.gt(a, half);
      edge += popcnt(i32x4.bitmask(v128.or(v128.xor(on, f32x4.gt(l, half)), v128.xor(on, f32x4.gt(u, half)))));
    }
    soft += <f64>(
      f32x4.extract_lane(sum, 0) + f32x4.extract_lane(sum, 1) + f32x4.extract_lane(sum, 2) + f32x4.extract_lane(sum, 3)
    );
    for (; x < w; x++) {
      const p = row + (<usize>x << 2);
      const a = load<f32>(p), on = a > 0.5;
      soft += <f64>(a * (1 - a));
      if (on != load<f32>(p - 4) > 0.5 || on != load<f32>(p - next) > 0.5) edge++;
    }
  }
  store<f64>(out, 4 * soft);
  store<f64>(out, <f64>edge, 8);
}
