// Light laid on a picture: one premultiplied picture over another, a measured shade on the plate, another key on the
// performer (see src/join/render/compose.ts, shade.ts, relight.ts). Four pixels at a time; groups that nothing falls on
// are passed by. Items are rows. Twins: layPremultipliedPlain, layShadePlain, relightCellsPlain, relightOverPlain.

import { exp2x4, loadTail, log2x4, storeTail } from './power';

/** Sets the bytes at p where the lanes of `mask` are on, of the first n. */
// @ts-ignore: decorator
@inline
function markTail(p: usize, n: i32, mask: v128): void {
  const m = i32x4.bitmask(mask);
  if ((m & 1) != 0) store<u8>(p, 1);
  if (n > 1 && (m & 2) != 0) store<u8>(p, 1, 1);
  if (n > 2 && (m & 4) != 0) store<u8>(p, 1, 2);
  if (n > 3 && (m & 8) != 0) store<u8>(p, 1, 3);
}

/**
 * over (ow wide, m pixels, RGBA premultiplied) on out (w wide, n pixels, RGB) at (dx, dy). touched: 1
 * where it covers; hidden, matte: planes of out, or 0.
 */
export function layOver(
  over: usize, ow: i32, m: i32, out: usize, w: i32, n: i32, dx: i32, dy: i32, touched: usize, hidden: usize,
  matte: usize, from: i32, to: i32, scratch: usize,
): void {
  const one = f32x4.splat(1), zero = f32x4.splat(0);
  const s1 = <usize>m << 2, d1 = <usize>n << 2;
  for (let y = from; y < to; y++) {
    const o0 = (y + dy) * w + dx;
    for (let x = 0; x < ow; x += 4) {
      const left = ow - x;
      const s = over + (<usize>(y * ow + x) << 2);
      let a = loadTail(s + 3 * s1, left);
      if (!v128.any_true(f32x4.gt(a, zero))) continue;
      const o = <usize>(o0 + x), d = out + (o << 2);
      let k = one;
      if (hidden != 0) {
        k = f32x4.sub(one, loadTail(hidden + (o << 2), left));
        a = f32x4.mul(a, k);
      }
      const on = f32x4.gt(a, zero), b = f32x4.sub(one, a);
      markTail(touched + o, left, on);
      if (matte != 0) storeTail(matte + (o << 2), left, v128.bitselect(a, loadTail(matte + (o << 2), left), on));
      for (let c: usize = 0; c < 3; c++) {
        const under = loadTail(d + c * d1, left);
        storeTail(
          d + c * d1,
          left,
          v128.bitselect(f32x4.add(f32x4.mul(loadTail(s + c * s1, left), k), f32x4.mul(b, under)), under, on),
        );
      }
    }
  }
}

/** Shares of shadow that four pixels lie in by themselves (own-shadow.ts); k as in layShade. */
// @ts-ignore: decorator
@inline
function shareOf(k: usize, at: usize, plane: usize, within: i32): v128 {
  const low = f32x4.splat(1e-5);
  const r = log2x4(f32x4.pmax(low, loadTail(at, within))), g = log2x4(f32x4.pmax(low, loadTail(at + plane, within)));
  const b = log2x4(f32x4.pmax(low, loadTail(at + 2 * plane, within)));
  const wr = f32x4.splat(load<f32>(k, 20)), wg = f32x4.splat(load<f32>(k, 24)), wb = f32x4.splat(load<f32>(k, 28));
  return f32x4.sub(
    f32x4.splat(load<f32>(k, 32)),
    f32x4.mul(f32x4.splat(0.6931471806), f32x4.add(f32x4.add(f32x4.mul(wr, r), f32x4.mul(wg, g)), f32x4.mul(wb, b))),
  );
}

/**
 * Shade (cover of the key, contact; sw wide) on out (w wide, n pixels) at (dx, dy). k: least change, contact's
 * strength, transmission r g b; then of the plate's own shadow: r g b weights, offset, whether it is asked for, shares
 * between which the pixel of `sharp` (the plate over out's box) stands for itself. soft: the softened plate (planes of
 * `softN`, softW wide) from (softX, softY) of out on, wherever cover is above 0. bound: a plane of the shade's size
 * that limits it, or 0; hidden: one of out's, or 0.
 */
export function layShade(
  cover: usize, contact: usize, sw: i32, out: usize, w: i32, n: i32, dx: i32, dy: i32, touched: usize, k: usize,
  soft: usize, softW: i32, softN: i32, softX: i32, softY: i32, sharp: usize, bound: usize, hidden: usize, from: i32,
  to: i32, scratch: usize,
): void {
  const one = f32x4.splat(1), zero = f32x4.splat(0);
  const least = f32x4.splat(load<f32>(k)), strength = f32x4.splat(load<f32>(k, 4));
  const t0 = f32x4.splat(load<f32>(k, 8)), t1 = f32x4.splat(load<f32>(k, 12)), t2 = f32x4.splat(load<f32>(k, 16));
  const own = load<f32>(k, 36) != 0;
  const plane = <usize>n << 2, sp = <usize>softN << 2;
  for (let y = from; y < to; y++) {
    for (let x = 0; x < sw; x += 4) {
      const left = sw - x;
      const i = <usize>(y * sw + x) << 2;
      let c = loadTail(cover + i, left), f = f32x4.mul(loadTail(contact + i, left), strength);
      if (!v128.any_true(v128.or(f32x4.ge(c, least), f32x4.ge(f, least)))) continue;
      const o = <usize>((y + dy) * w + x + dx);
      if (bound != 0) { const b = loadTail(bound + i, left); c = f32x4.mul(c, b); f = f32x4.mul(f, b); }
      if (hidden != 0) {
        const h = f32x4.sub(one, loadTail(hidden + (o << 2), left));
        c = f32x4.mul(c, h);
        f = f32x4.mul(f, h);
      }
      let on = v128.or(f32x4.ge(c, least), f32x4.ge(f, least));
      const dark = v128.and(on, f32x4.gt(c, zero));
      if (own && v128.any_true(dark)) {
        const at = soft + (<usize>((y + dy - softY) * softW + x + dx - softX) << 2);
        // No pixel beyond its end is dark.
        const within = min(4, softW - (x + dx - softX));
        let s = shareOf(k, at, sp, within);
        const mixed = v128.and(
          dark,
          v128.and(f32x4.gt(s, f32x4.splat(load<f32>(k, 40))), f32x4.lt(s, f32x4.splat(load<f32>(k, 44)))),
        );
        if (v128.any_true(mixed)) s = v128.bitselect(shareOf(k, sharp + (o << 2), plane, left), s, mixed);
        const t = f32x4.pmin(one, f32x4.pmax(zero, f32x4.mul(f32x4.sub(s, f32x4.splat(0.45)), f32x4.splat(2.5))));
        const there = f32x4.mul(f32x4.mul(t, t), f32x4.sub(f32x4.splat(3), f32x4.add(t, t)));
        c = v128.bitselect(f32x4.mul(c, f32x4.sub(one, there)), c, dark);
        on = v128.or(f32x4.ge(c, least), f32x4.ge(f, least));
      }
      const open = f32x4.sub(one, c), fill = f32x4.sub(one, f);
      const f0 = f32x4.add(f32x4.mul(open, f32x4.sub(one, t0)), f32x4.mul(t0, fill));
      const f1 = f32x4.add(f32x4.mul(open, f32x4.sub(one, t1)), f32x4.mul(t1, fill));
      const f2 = f32x4.add(f32x4.mul(open, f32x4.sub(one, t2)), f32x4.mul(t2, fill));
      const most = f32x4.sub(one, f32x4.pmin(f0, f32x4.pmin(f1, f2)));
      on = v128.and(on, f32x4.ge(most, least));
      if (!v128.any_true(on)) continue;
      markTail(touched + o, left, on);
      const d = out + (o << 2);
      storeTail(d, left, f32x4.mul(loadTail(d, left), v128.bitselect(f0, one, on)));
      storeTail(d + plane, left, f32x4.mul(loadTail(d + plane, left), v128.bitselect(f1, one, on)));
      storeTail(d + 2 * plane, left, f32x4.mul(loadTail(d + 2 * plane, left), v128.bitselect(f2, one, on)));
    }
  }
}

// @ts-ignore: decorator
@inline
function facing(k: usize, at: usize, nx: v128, ny: v128, nz: v128, wrap: v128): v128 {
  const c = f32x4.add(
    f32x4.add(f32x4.mul(nx, f32x4.splat(load<f32>(k + at))), f32x4.mul(ny, f32x4.splat(load<f32>(k + at, 4)))),
    f32x4.mul(nz, f32x4.splat(load<f32>(k + at, 8))),
  );
  return f32x4.pmax(f32x4.splat(0), f32x4.div(f32x4.add(c, wrap), f32x4.add(f32x4.splat(1), wrap)));
}

/**
 * Ratio of two shadings on the normals of a height field (w × h, towards the camera): three planes. k:
 * direction of the old key, of the new one, old fill r g b, new fill r g b, wrap, 2 strength / limit, limit ·
 * log2 e. With E = (after / before) ^ (2 strength
 * / limit) the limited exponent is limit · (E − 1) / (E + 1): the hyperbolic tangent. At k + 60 stands 1 / s², slopes
 * being taken as g / sqrt(1 + g² / s²). Scratch 4 (w + 8) bytes.
 */
export function relightCells(
  front: usize, w: i32, h: i32, k: usize, ratio: usize, from: i32, to: i32, scratch: usize,
): void {
  const one = f32x4.splat(1), half = f32x4.splat(0.5), low = f32x4.splat(0.05);
  const wrap = f32x4.splat(load<f32>(k, 48)), inner = f32x4.splat(load<f32>(k, 52));
  const outer = f32x4.splat(load<f32>(k, 56)), bend = f32x4.splat(load<f32>(k, 60));
  const plane = <usize>(w * h) << 2, line = <usize>w << 2;
  const row = scratch + 4;
  for (let y = from; y < to; y++) {
    const own = front + <usize>y * line, above = front + <usize>max(0, y - 1) * line;
    const below = front + <usize>min(h - 1, y + 1) * line;
    memory.copy(row, own, line);
    store<f32>(row - 4, load<f32>(own));
    store<f32>(row + line, load<f32>(own + line - 4));
    for (let x = 0; x < w; x += 4) {
      const p = <usize>x << 2, left = w - x;
      const gx = f32x4.mul(half, f32x4.sub(v128.load(row + p - 4), v128.load(row + p + 4)));
      const gy = f32x4.mul(half, f32x4.sub(loadTail(above + p, left), loadTail(below + p, left)));
      // With slope g / sqrt(1 + g² bend) a normal's length is sqrt(1 + g² (1 + bend)) over sqrt(1 + g² bend).
      const steep = f32x4.add(f32x4.mul(gx, gx), f32x4.mul(gy, gy));
      const inv = f32x4.div(one, f32x4.sqrt(f32x4.add(one, f32x4.mul(steep, f32x4.add(one, bend)))));
      const nx = f32x4.mul(gx, inv), ny = f32x4.mul(gy, inv);
      const nz = f32x4.neg(f32x4.mul(inv, f32x4.sqrt(f32x4.add(one, f32x4.mul(steep, bend)))));
      const gf = facing(k, 0, nx, ny, nz, wrap), gt = facing(k, 12, nx, ny, nz, wrap);
      for (let c: usize = 0; c < 3; c++) {
        const f0 = f32x4.splat(load<f32>(k + (c << 2), 24)), f1 = f32x4.splat(load<f32>(k + (c << 2), 36));
        const before = f32x4.add(f0, f32x4.mul(f32x4.sub(one, f0), gf));
        const after = f32x4.add(f1, f32x4.mul(f32x4.sub(one, f1), gt));
        const e = exp2x4(f32x4.mul(inner, f32x4.sub(log2x4(f32x4.pmax(low, after)), log2x4(f32x4.pmax(low, before)))));
        const r = exp2x4(f32x4.mul(outer, f32x4.div(f32x4.sub(e, one), f32x4.add(e, one))));
        storeTail(ratio + c * plane + <usize>y * line + p, left, r);
      }
    }
  }
}

/**
 * Three colour planes (w × h, at `colour`, `green`, `blue`) times a ratio on cells (cw × ch, three
 * planes), bilinear between their middles, where alpha is above 0. first, share: of each column its cell
 * and the part of the next. Scratch 12 (cw + 1) bytes.
 */
export function relightOver(
  red: usize, green: usize, blue: usize, alpha: usize, w: i32, ratio: usize, cw: i32, ch: i32, cell: i32, first: usize,
  share: usize, from: i32, to: i32, scratch: usize,
): void {
  const zero = f32x4.splat(0), plane = <usize>(cw * ch) << 2, stride = <usize>(cw + 1) << 2;
  for (let y = from; y < to; y++) {
    const v = Mathf.max(0, Mathf.min(<f32>ch - <f32>1.001, (<f32>y + <f32>0.5) / <f32>cell - <f32>0.5));
    const j = <i32>Mathf.floor(v), ty = v - <f32>j;
    const down = j + 1 < ch ? <usize>cw << 2 : 0;
    for (let c: usize = 0; c < 3; c++) {
      const p = ratio + c * plane + (<usize>(j * cw) << 2), to4 = scratch + c * stride;
      for (let x = 0; x < cw; x++) {
        const a = load<f32>(p + (<usize>x << 2));
        store<f32>(to4 + (<usize>x << 2), a + (load<f32>(p + down + (<usize>x << 2)) - a) * ty);
      }
      store<f32>(to4 + (<usize>cw << 2), load<f32>(to4 + (<usize>(cw - 1) << 2)));
    }
    for (let x = 0; x < w; x += 4) {
      const left = w - x, i = <usize>(y * w + x) << 2, at = <usize>x << 2;
      const on = f32x4.gt(loadTail(alpha + i, left), zero);
      if (!v128.any_true(on)) continue;
      const c0 = <usize>load<i32>(first + at) << 2, c1 = <usize>load<i32>(first + at, 4) << 2;
      const c2 = <usize>load<i32>(first + at, 8) << 2, c3 = <usize>load<i32>(first + at, 12) << 2;
      const t = v128.load(share + at);
      for (let c: usize = 0; c < 3; c++) {
        const q = scratch + c * stride, d = (c == 0 ? red : c == 1 ? green : blue) + i;
        const lo = v128.load_lane<f32>(
          q + c3,
          v128.load_lane<f32>(q + c2, v128.load_lane<f32>(q + c1, v128.load32_zero(q + c0), 1), 2),
          3,
        );
        const hi = v128.load_lane<f32>(
          q + c3 + 4,
          v128.load_lane<f32>(q + c2 + 4, v128.load_lane<f32>(q + c1 + 4, v128.load32_zero(q + c0 + 4), 1), 2),
          3,
        );
        const old = loadTail(d, left);
        storeTail(d, left, v128.bitselect(f32x4.mul(old, f32x4.add(lo, f32x4.mul(f32x4.sub(hi, lo), t))), old, on));
      }
    }
  }
}
