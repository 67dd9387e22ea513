// The performer's pictures brought onto one box for drawing between them, and taken off it again (see
// src/join/pace/paced-performer.ts). Interleaved RGBA, premultiplied. Twins: ontoBoxPlain, heldCellsPlain, offBoxPlain.

/**
 * src (pw × ph, four planes) onto dst (w wide, interleaved), its corner at (dx, dy), 0 around; luma (w wide, or 0): of
 * the picture over linear mid grey, by a square root. Items are rows of dst.
 */
export function ontoBox(
  src: usize, pw: i32, ph: i32, dx: i32, dy: i32, dst: usize, luma: usize, w: i32, from: i32, to: i32, scratch: usize,
): void {
  const plane = <usize>(pw * ph) << 2, ground = <f32>Math.sqrt(0.2), vg = f32x4.splat(ground);
  for (let y = from; y < to; y++) {
    const row = dst + (<usize>(y * w) << 4), line = luma + (<usize>(y * w) << 2);
    memory.fill(row, 0, <usize>w << 4);
    let x = 0;
    for (; x + 4 <= w; x += 4) v128.store(line + (<usize>x << 2), vg);
    for (; x < w; x++) store<f32>(line + (<usize>x << 2), ground);
    if (y < dy || y >= dy + ph) continue;
    const s = src + (<usize>((y - dy) * pw) << 2);
    for (x = 0; x < pw; x++) {
      const p = s + (<usize>x << 2);
      const a = load<f32>(p + 3 * plane);
      if (a == 0) continue;
      const r = load<f32>(p), g = load<f32>(p + plane), b = load<f32>(p + 2 * plane);
      const o = row + (<usize>(x + dx) << 4);
      store<f32>(o, r);
      store<f32>(o, g, 4);
      store<f32>(o, b, 8);
      store<f32>(o, a, 12);
      const l = 0.2126 * <f64>r + 0.7152 * <f64>g + 0.0722 * <f64>b + 0.2 * (1 - <f64>a);
      store<f32>(line + (<usize>(x + dx) << 2), l >= 1 ? 1 : l > 0 ? <f32>Math.sqrt(l) : 0);
    }
  }
}

/**
 * any (gw × gh bytes): 1 where a cell of 2^shift pixels holds some coverage of `img` (w × h
 * interleaved); others stay. Items are rows of cells.
 */
export function heldCells(
  img: usize, w: i32, h: i32, shift: i32, any: usize, gw: i32, gh: i32, from: i32, to: i32, scratch: usize,
): void {
  for (let j = from; j < to; j++) {
    const last = j == gh - 1 ? h : min(h, (j + 1) << shift);
    for (let y = j << shift; y < last; y++) {
      const row = img + (<usize>(y * w) << 4) + 12;
      for (let x = 0; x < w; x++)
        if (load<f32>(row + (<usize>x << 4)) > 0) store<u8>(any + <usize>(j * gw + min(gw - 1, x >> shift)), 1);
    }
  }
}

/**
 * Smallest box (four i32: x0, y0, x1, y1; y0 −1 for none) of what of img (w × h
 * interleaved) has more coverage than `least`. One item.
 */
export function heldBox(img: usize, w: i32, h: i32, least: f32, box: usize, from: i32, to: i32, scratch: usize): void {
  let x0 = w, y0 = -1, x1 = 0, y1 = 0;
  for (let y = 0; y < h; y++) {
    const row = img + (<usize>(y * w) << 4) + 12;
    let first = 0, last = w - 1;
    while (first < w && !(load<f32>(row + (<usize>first << 4)) > least)) first++;
    if (first == w) continue;
    while (!(load<f32>(row + (<usize>last << 4)) > least)) last--;
    x0 = min(x0, first);
    x1 = max(x1, last + 1);
    if (y0 < 0) y0 = y;
    y1 = y + 1;
  }
  store<i32>(box, x0);
  store<i32>(box, y0, 4);
  store<i32>(box, x1, 8);
  store<i32>(box, y1, 12);
}

/** The part of img (w wide, interleaved) from (x0, y0) on as four planes of ow × oh. Items are rows of dst. */
export function offBox(
  img: usize, w: i32, x0: i32, y0: i32, dst: usize, ow: i32, oh: i32, from: i32, to: i32, scratch: usize,
): void {
  const plane = <usize>(ow * oh) << 2;
  for (let y = from; y < to; y++) {
    const row = img + (<usize>((y + y0) * w + x0) << 4), d = dst + (<usize>(y * ow) << 2);
    let x = 0;
    for (; x + 4 <= ow; x += 4) {
      const p = row + (<usize>x << 4), q = d + (<usize>x << 2);
      const a = v128.load(p), b = v128.load(p, 16), c = v128.load(p, 32), e = v128.load(p, 48);
      const rg0 = v128.shuffle<f32>(a, b, 0, 4, 1, 5), rg1 = v128.shuffle<f32>(c, e, 0, 4, 1, 5);
      const ba0 = v128.shuffle<f32>(a, b, 2, 6, 3, 7), ba1 = v128.shuffle<f32>(c, e, 2, 6, 3, 7);
      v128.store(q, v128.shuffle<f32>(rg0, rg1, 0, 1, 4, 5));
      v128.store(q + plane, v128.shuffle<f32>(rg0, rg1, 2, 3, 6, 7));
      v128.store(q + 2 * plane, v128.shuffle<f32>(ba0, ba1, 0, 1, 4, 5));
      v128.store(q + 3 * plane, v128.shuffle<f32>(ba0, ba1, 2, 3, 6, 7));
    }
    for (; x < ow; x++)
      for (let c: usize = 0; c < 4; c++)
        store<f32>(d + c * plane + (<usize>x << 2), load<f32>(row + (<usize>x << 4) + (c << 2)));
  }
}
