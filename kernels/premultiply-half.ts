// A peel's matte and colour to a premultiplied picture of half the size (see src/join/peel/halve-performer.ts): each
// pixel the mean of the four it stands for, without the full picture between. Twin: premultipliedHalfPlain.

/**
 * alpha (w × h), colour (three planes w × h); only x0..x1, y0..y1 counts, beyond it is nothing. out: four planes ow ×
 * oh whose pixel (0, 0) stands for the pixels 2 bx, 2 by and the next. Items are rows of out.
 */
export function premultiplyHalf(
  alpha: usize, colour: usize, w: i32, h: i32, x0: i32, y0: i32, x1: i32, y1: i32, out: usize, ow: i32, oh: i32,
  bx: i32, by: i32, from: i32, to: i32, scratch: usize,
): void {
  const plane = <usize>(w * h) << 2, small = <usize>(ow * oh) << 2;
  const quarter = f32x4.splat(0.25);
  for (let y = from; y < to; y++) {
    const top = 2 * (by + y), hasTop = top >= y0 && top < y1, hasLow = top + 1 >= y0 && top + 1 < y1;
    const row = <usize>(top * w) << 2, next = <usize>w << 2;
    for (let x = 0; x < ow; x++) {
      const o = out + (<usize>(y * ow + x) << 2);
      const left = 2 * (bx + x);
      if (hasTop && hasLow && left >= x0 && left + 8 <= x1 && x + 4 <= ow) {
        const p = row + (<usize>left << 2);
        const a0 = v128.load(alpha + p), a1 = v128.load(alpha + p, 16);
        const a2 = v128.load(alpha + p + next), a3 = v128.load(alpha + p + next, 16);
        const any = v128.any_true(v128.or(v128.or(a0, a1), v128.or(a2, a3)));
        for (let c: usize = 0; c < 3; c++) {
          let r = f32x4.splat(0);
          if (any) {
            const q = colour + c * plane + p;
            const s0 = f32x4.add(f32x4.mul(a0, v128.load(q)), f32x4.mul(a2, v128.load(q + next)));
            const s1 = f32x4.add(f32x4.mul(a1, v128.load(q, 16)), f32x4.mul(a3, v128.load(q + next, 16)));
            r = f32x4.mul(
              quarter,
              f32x4.add(v128.shuffle<f32>(s0, s1, 0, 2, 4, 6), v128.shuffle<f32>(s0, s1, 1, 3, 5, 7)),
            );
          }
          v128.store(o + c * small, r);
        }
        const s0 = f32x4.add(a0, a2), s1 = f32x4.add(a1, a3);
        v128.store(
          o + 3 * small,
          f32x4.mul(quarter, f32x4.add(v128.shuffle<f32>(s0, s1, 0, 2, 4, 6), v128.shuffle<f32>(s0, s1, 1, 3, 5, 7))),
        );
        x += 3;
        continue;
      }
      let r: f32 = 0, g: f32 = 0, b: f32 = 0, a: f32 = 0;
      for (let j = 0; j < 2; j++) {
        if (j == 0 ? !hasTop : !hasLow) continue;
        for (let i = 0; i < 2; i++) {
          if (left + i < x0 || left + i >= x1) continue;
          const p = row + (<usize>j) * next + (<usize>(left + i) << 2);
          const k = load<f32>(alpha + p);
          if (k == 0) continue;
          r += k * load<f32>(colour + p);
          g += k * load<f32>(colour + plane + p);
          b += k * load<f32>(colour + 2 * plane + p);
          a += k;
        }
      }
      store<f32>(o, <f32>0.25 * r);
      store<f32>(o + small, <f32>0.25 * g);
      store<f32>(o + 2 * small, <f32>0.25 * b);
      store<f32>(o + 3 * small, <f32>0.25 * a);
    }
  }
}

/**
 * The same at the size it has: the part from (x0, y0), ow × oh, of alpha and colour
 * premultiplied. Items are rows of out.
 */
export function premultiplyCut(
  alpha: usize, colour: usize, w: i32, h: i32, x0: i32, y0: i32, out: usize, ow: i32, oh: i32, from: i32, to: i32,
  scratch: usize,
): void {
  const plane = <usize>(w * h) << 2, small = <usize>(ow * oh) << 2;
  for (let y = from; y < to; y++) {
    const p = <usize>((y0 + y) * w + x0) << 2, o = out + (<usize>(y * ow) << 2);
    let x = 0;
    for (; x + 4 <= ow; x += 4) {
      const at = p + (<usize>x << 2), to4 = o + (<usize>x << 2);
      const a = v128.load(alpha + at);
      for (let c: usize = 0; c < 3; c++) v128.store(to4 + c * small, f32x4.mul(a, v128.load(colour + c * plane + at)));
      v128.store(to4 + 3 * small, a);
    }
    for (; x < ow; x++) {
      const at = p + (<usize>x << 2), to1 = o + (<usize>x << 2);
      const a = load<f32>(alpha + at);
      for (let c: usize = 0; c < 3; c++) store<f32>(to1 + c * small, a * load<f32>(colour + c * plane + at));
      store<f32>(to1 + 3 * small, a);
    }
  }
}
