// Halving by [1 3 3 1]/8 each way, rows from..to of the small picture; doubling by 3/4, 1/4, rows from..to of the large
// one. Twins: halvePlain, doublePlain. scratch: w + 16 floats.

/** Rows `from`..`to` of a plane of `w` × `h` floats at half the size, rounded up; the border repeats. */
export function halve(src: usize, dst: usize, w: i32, h: i32, from: i32, to: i32, scratch: usize): void {
  const ow = (w + 1) >> 1;
  const stride = <usize>w << 2;
  const three = f32x4.splat(3), scale = f32x4.splat(1.0 / 64.0);
  const line = scratch + 16; // one float of room on the left for the repeated edge
  for (let y = from; y < to; y++) {
    const p0 = src + <usize>max(0, 2 * y - 1) * stride, p1 = src + <usize>(2 * y) * stride;
    const p2 = src + <usize>min(h - 1, 2 * y + 1) * stride, p3 = src + <usize>min(h - 1, 2 * y + 2) * stride;
    let x = 0;
    for (; x + 4 <= w; x += 4) {
      const o = <usize>x << 2;
      v128.store(
        line + o,
        f32x4.add(
          f32x4.add(v128.load(p0 + o), v128.load(p3 + o)),
          f32x4.mul(three, f32x4.add(v128.load(p1 + o), v128.load(p2 + o))),
        ),
      );
    }
    for (; x < w; x++) {
      const o = <usize>x << 2;
      store<f32>(line + o, load<f32>(p0 + o) + load<f32>(p3 + o) + <f32>3 * (load<f32>(p1 + o) + load<f32>(p2 + o)));
    }
    store<f32>(line - 4, load<f32>(line));
    const right = load<f32>(line + (<usize>(w - 1) << 2));
    store<f32>(line + (<usize>w << 2), right);
    store<f32>(line + (<usize>(w + 1) << 2), right);
    const d = dst + <usize>y * (<usize>ow << 2);
    x = 0;
    for (; x + 4 <= ow; x += 4) {
      const q = line + (<usize>x << 3);
      const l0 = v128.load(q - 4), l1 = v128.load(q + 12); // a b a b
      const h0 = v128.load(q + 4), h1 = v128.load(q + 20); // c d c d
      const a = v128.shuffle<i32>(l0, l1, 0, 2, 4, 6), b = v128.shuffle<i32>(l0, l1, 1, 3, 5, 7);
      const c = v128.shuffle<i32>(h0, h1, 0, 2, 4, 6), e = v128.shuffle<i32>(h0, h1, 1, 3, 5, 7);
      v128.store(d + (<usize>x << 2), f32x4.mul(f32x4.add(f32x4.add(a, e), f32x4.mul(three, f32x4.add(b, c))), scale));
    }
    for (; x < ow; x++) {
      const q = line + (<usize>x << 3);
      store<f32>(
        d + (<usize>x << 2),
        (load<f32>(q - 4) + load<f32>(q + 8) + <f32>3 * (load<f32>(q) + load<f32>(q + 4))) * <f32>(1.0 / 64.0),
      );
    }
  }
}

/** Rows `from`..`to`, `ow` floats each, of a plane of `w` × `h` floats at double the size; the border repeats. */
export function double(src: usize, dst: usize, w: i32, h: i32, ow: i32, from: i32, to: i32, scratch: usize): void {
  const stride = <usize>w << 2;
  const n = f32x4.splat(0.75), f = f32x4.splat(0.25);
  const line = scratch + 16;
  for (let y = from; y < to; y++) {
    const near = src + <usize>min(h - 1, y >> 1) * stride;
    const far = src + <usize>min(h - 1, max(0, (y >> 1) + ((y & 1) == 0 ? -1 : 1))) * stride;
    let x = 0;
    for (; x + 4 <= w; x += 4) {
      const o = <usize>x << 2;
      v128.store(line + o, f32x4.add(f32x4.mul(n, v128.load(near + o)), f32x4.mul(f, v128.load(far + o))));
    }
    for (; x < w; x++) {
      const o = <usize>x << 2;
      store<f32>(line + o, <f32>0.75 * load<f32>(near + o) + <f32>0.25 * load<f32>(far + o));
    }
    store<f32>(line - 4, load<f32>(line));
    store<f32>(line + (<usize>w << 2), load<f32>(line + (<usize>(w - 1) << 2)));
    const d = dst + <usize>y * (<usize>ow << 2);
    x = 0;
    for (; x + 8 <= ow; x += 8) {
      const q = line + (<usize>x << 1);
      const here = v128.load(q), left = v128.load(q - 4), right = v128.load(q + 4);
      const even = f32x4.add(f32x4.mul(n, here), f32x4.mul(f, left));
      const odd = f32x4.add(f32x4.mul(n, here), f32x4.mul(f, right));
      v128.store(d + (<usize>x << 2), v128.shuffle<i32>(even, odd, 0, 4, 1, 5));
      v128.store(d + (<usize>x << 2), v128.shuffle<i32>(even, odd, 2, 6, 3, 7), 16);
    }
    for (; x < ow; x++) {
      const q = line + (<usize>(x >> 1) << 2);
      const other = (x & 1) == 0 ? q - 4 : q + 4;
      store<f32>(d + (<usize>x << 2), <f32>0.75 * load<f32>(q) + <f32>0.25 * load<f32>(other));
    }
  }
}
