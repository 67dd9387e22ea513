// A composed box on its way back to code values (see src/join/render/code-box.ts, src/join/render/frame-box.ts): light
// to display-coded values only about what changed, and display-coded values to Y'CbCr code values only where it did.
// Twins: linearToCoded in src/media/convert.ts, patchYuvPlain.

import { betweenKnots } from './curve-table';

/** Row j (or none, -1) of what changed seen: each column's count of rows for which it is still near. */
// @ts-ignore: decorator
@inline
function seen(changed: usize, j: i32, w: i32, reach: i32, near: usize): void {
  const one = i8x16.splat(1), whole = i8x16.splat(<i8>(2 * reach + 1));
  const row = changed + <usize>(max(j, 0) * w);
  let x = 0;
  for (; x + 16 <= w; x += 16) {
    const on = j < 0 ? i8x16.splat(0) : v128.and(i8x16.ne(v128.load(row + x), i8x16.splat(0)), whole);
    v128.store(near + x, i8x16.max_u(i8x16.sub_sat_u(v128.load(near + x), one), on));
  }
  for (; x < w; x++) {
    const left = load<u8>(near + x), on = j >= 0 && load<u8>(row + x) != 0;
    store<u8>(near + x, on ? <u8>(2 * reach + 1) : left > 0 ? left - 1 : 0);
  }
}

/**
 * Light (three planes) to coded values by a table with even steps of the square root (as curveByTable), in groups of
 * four pixels that have a changed pixel within 8 pixels and `reach` rows; the others keep what `dst` holds. `src` and
 * `dst` must lie apart. Items are rows; scratch w + 64 bytes.
 */
export function codeChanged(
  src: usize, dst: usize, changed: usize, w: i32, h: i32, table: usize, steps: f32, count: i32, odd: i32, reach: i32,
  from: i32, to: i32, scratch: usize,
): void {
  const plane = <usize>(w * h) << 2;
  const near = scratch + 16;
  const vst = f32x4.splat(steps), zero = f32x4.splat(0);
  const top = f32x4.splat(<f32>count), sign = i32x4.splat(<i32>0x80000000);
  // For how many rows on the last change in each column is still within reach.
  memory.fill(scratch, 0, <usize>w + 64);
  for (let j = max(0, from - reach); j < min(h, from + reach); j++) seen(changed, j, w, reach, near);
  for (let y = from; y < to; y++) {
    seen(changed, y + reach < h ? y + reach : -1, w, reach, near);
    const line = <usize>(y * w) << 2;
    for (let x = 0; x < w; x += 4) {
      // 20 bytes: from 8 before the group's first pixel to 8 after its last.
      if (!v128.any_true(v128.load(near + x - 8)) && load<u32>(near + x + 8) == 0) continue;
      for (let c: usize = 0; c < 3; c++) {
        const p = c * plane + line + (<usize>x << 2);
        const v = v128.load(src + p);
        const t = f32x4.pmin(top, f32x4.pmax(zero, f32x4.mul(f32x4.sqrt(f32x4.abs(v)), vst)));
        let r = betweenKnots(t, table);
        r = odd != 0 ? v128.or(r, v128.and(v, sign)) : v128.andnot(r, f32x4.lt(v, zero));
        if (x + 4 <= w) v128.store(dst + p, r);
        else {
          store<f32>(dst + p, f32x4.extract_lane(r, 0));
          if (x + 1 < w) store<f32>(dst + p, f32x4.extract_lane(r, 1), 4);
          if (x + 2 < w) store<f32>(dst + p, f32x4.extract_lane(r, 2), 8);
        }
      }
    }
  }
}

// @ts-ignore: decorator
@inline
function put(p: usize, i: i32, deep: i32, v: f32, most: f32): void {
  const code = <u32>max<f32>(0, min<f32>(most, Mathf.floor(v + <f32>0.5)));
  if (deep != 0) store<u16>(p + (<usize>i << 1), <u16>code);
  else store<u8>(p + <usize>i, <u8>code);
}

/** Luma codes of the changed pixels. k: kr, kg, kb, scale, offset, most. Items are rows. */
export function patchLuma(
  coded: usize, changed: usize, dst: usize, w: i32, h: i32, deep: i32, k: usize, from: i32, to: i32, scratch: usize,
): void {
  const plane = <usize>(w * h) << 2;
  const kr = load<f32>(k), kg = load<f32>(k, 4), kb = load<f32>(k, 8);
  const scale = load<f32>(k, 12), offset = load<f32>(k, 16), most = load<f32>(k, 20);
  const vr = f32x4.splat(kr), vg = f32x4.splat(kg), vb = f32x4.splat(kb);
  const vs = f32x4.splat(scale), vo = f32x4.splat(offset);
  const last = to * w;
  let i = from * w;
  for (; i + 4 <= last; i += 4) {
    if (load<u32>(changed + i) == 0) continue;
    const p = coded + (<usize>i << 2);
    const l = f32x4.add(
      f32x4.add(f32x4.mul(vr, v128.load(p)), f32x4.mul(vg, v128.load(p + plane))),
      f32x4.mul(vb, v128.load(p + 2 * plane)),
    );
    const v = f32x4.add(f32x4.mul(l, vs), vo);
    if (load<u8>(changed + i) != 0) put(dst, i, deep, f32x4.extract_lane(v, 0), most);
    if (load<u8>(changed + i, 1) != 0) put(dst, i + 1, deep, f32x4.extract_lane(v, 1), most);
    if (load<u8>(changed + i, 2) != 0) put(dst, i + 2, deep, f32x4.extract_lane(v, 2), most);
    if (load<u8>(changed + i, 3) != 0) put(dst, i + 3, deep, f32x4.extract_lane(v, 3), most);
  }
  for (; i < last; i++) {
    if (load<u8>(changed + i) == 0) continue;
    const p = coded + (<usize>i << 2);
    put(
      dst, i, deep,
      (kr * load<f32>(p) + kg * load<f32>(p + plane) + kb * load<f32>(p + 2 * plane)) * scale + offset,
      most,
    );
  }
}

/** Four left-sited means: 1 2 1 across, the mean of two rows; p, q: the first sample's own pixel in either row. */
// @ts-ignore: decorator
@inline
function site4(p: usize, q: usize): v128 {
  const l = f32x4.add(v128.load(p - 4), v128.load(q - 4)), l1 = f32x4.add(v128.load(p + 12), v128.load(q + 12));
  const m = f32x4.add(v128.load(p), v128.load(q)), m1 = f32x4.add(v128.load(p, 16), v128.load(q, 16));
  const left = v128.shuffle<f32>(l, l1, 0, 2, 4, 6), own = v128.shuffle<f32>(m, m1, 0, 2, 4, 6);
  const right = v128.shuffle<f32>(m, m1, 1, 3, 5, 7);
  return f32x4.mul(f32x4.splat(0.125), f32x4.add(f32x4.add(left, right), f32x4.add(own, own)));
}

/**
 * Chroma codes of the samples that serve a changed pixel. k: kr, kg, kb, toCb, toCr, offset, most, then per tap across
 * (nx) its offset and weight, then per tap down (ny). Items are chroma rows.
 */
export function patchChroma(
  coded: usize, changed: usize, u: usize, v: usize, w: i32, h: i32, sx: i32, sy: i32, deep: i32, nx: i32, ny: i32,
  k: usize, from: i32, to: i32, scratch: usize,
): void {
  const plane = <usize>(w * h) << 2;
  const kr = load<f32>(k), kg = load<f32>(k, 4), kb = load<f32>(k, 8), toCb = load<f32>(k, 12);
  const toCr = load<f32>(k, 16), offset = load<f32>(k, 20), most = load<f32>(k, 24);
  const across = k + 28, down = across + (<usize>nx << 3);
  const bw = (w + (1 << sx) - 1) >> sx;
  // The usual left-sited 4:2:0: three taps 1 2 1 across, two even ones down.
  const usual = sx == 1 && sy == 1 && nx == 3 && ny == 2 && load<f32>(across) == -1 && load<f32>(across, 12) == 0.5
    && load<f32>(down) == 0 && load<f32>(down, 4) == 0.5;
  for (let cy = from; cy < to; cy++) {
    for (let cx = 0; cx < bw; cx++) {
      if (usual && cx > 0 && 2 * cx + 8 < w && 2 * cy + 1 < h) {
        const at = 2 * cy * w + 2 * cx;
        // Pixels 2 cx − 1 to 2 cx + 7 of two rows serve these four samples.
        const t0 = load<u64>(changed + at - 1) | load<u64>(changed + at + w - 1);
        const t1 = load<u8>(changed + at + 7) | load<u8>(changed + at + w + 7);
        if (t0 == 0 && t1 == 0) { cx += 3; continue; }
        const p = coded + (<usize>at << 2), q = p + (<usize>w << 2);
        const r = site4(p, q), g = site4(p + plane, q + plane), b = site4(p + 2 * plane, q + 2 * plane);
        const l = f32x4.add(
          f32x4.add(f32x4.mul(f32x4.splat(kr), r), f32x4.mul(f32x4.splat(kg), g)),
          f32x4.mul(f32x4.splat(kb), b),
        );
        const cb = f32x4.add(f32x4.mul(f32x4.sub(b, l), f32x4.splat(toCb)), f32x4.splat(offset));
        const cr = f32x4.add(f32x4.mul(f32x4.sub(r, l), f32x4.splat(toCr)), f32x4.splat(offset));
        const o = cy * bw + cx;
        if ((t0 & 0xffffff) != 0) {
          put(u, o, deep, f32x4.extract_lane(cb, 0), most);
          put(v, o, deep, f32x4.extract_lane(cr, 0), most);
        }
        if ((t0 & 0xffffff0000) != 0) {
          put(u, o + 1, deep, f32x4.extract_lane(cb, 1), most);
          put(v, o + 1, deep, f32x4.extract_lane(cr, 1), most);
        }
        if ((t0 & 0xffffff00000000) != 0) {
          put(u, o + 2, deep, f32x4.extract_lane(cb, 2), most);
          put(v, o + 2, deep, f32x4.extract_lane(cr, 2), most);
        }
        if ((t0 >> 48) != 0 || t1 != 0) {
          put(u, o + 3, deep, f32x4.extract_lane(cb, 3), most);
          put(v, o + 3, deep, f32x4.extract_lane(cr, 3), most);
        }
        cx += 3;
        continue;
      }
      let touched: u8 = 0;
      for (let j = 0; j < ny; j++) {
        const yy = (cy << sy) + <i32>load<f32>(down + (<usize>j << 3));
        if (yy < 0 || yy >= h) continue;
        for (let q = 0; q < nx; q++) {
          const xx = (cx << sx) + <i32>load<f32>(across + (<usize>q << 3));
          if (xx >= 0 && xx < w) touched |= load<u8>(changed + <usize>(yy * w + xx));
        }
      }
      if (touched == 0) continue;
      // Colour differences are linear in R'G'B': the mean colour has the mean difference.
      let r: f32 = 0, g: f32 = 0, b: f32 = 0, weight: f32 = 0;
      for (let j = 0; j < ny; j++) {
        const yy = (cy << sy) + <i32>load<f32>(down + (<usize>j << 3));
        if (yy < 0 || yy >= h) continue;
        const wy = load<f32>(down + (<usize>j << 3), 4);
        for (let q = 0; q < nx; q++) {
          const xx = (cx << sx) + <i32>load<f32>(across + (<usize>q << 3));
          if (xx < 0 || xx >= w) continue;
          const p = coded + (<usize>(yy * w + xx) << 2), t = load<f32>(across + (<usize>q << 3), 4) * wy;
          r += t * load<f32>(p);
          g += t * load<f32>(p + plane);
          b += t * load<f32>(p + 2 * plane);
          weight += t;
        }
      }
      const l = kr * r + kg * g + kb * b;
      put(u, cy * bw + cx, deep, ((b - l) / weight) * toCb + offset, most);
      put(v, cy * bw + cx, deep, ((r - l) / weight) * toCr + offset, most);
    }
  }
}

// @ts-ignore: decorator
@inline
function knot4(table: usize, k: v128): v128 {
  let r = v128.load32_zero(table + <usize>i32x4.extract_lane(k, 0));
  r = v128.load32_lane(table + <usize>i32x4.extract_lane(k, 1), r, 1);
  r = v128.load32_lane(table + <usize>i32x4.extract_lane(k, 2), r, 2);
  return v128.load32_lane(table + <usize>i32x4.extract_lane(k, 3), r, 3);
}

/** Four noises of a tile's row from pixel x on; where the tile goes round they are taken one by one. */
// @ts-ignore: decorator
@inline
function noise4(row: usize, at: i32, sx: i32, round: i32): v128 {
  if (sx > 0 ? at + 3 <= round : at >= 3) {
    if (sx > 0) return v128.load(row + (<usize>at << 2));
    const back = v128.load(row + (<usize>(at - 3) << 2));
    return v128.shuffle<f32>(back, back, 3, 2, 1, 0);
  }
  let r = v128.load32_zero(row + (<usize>at << 2));
  r = v128.load32_lane(row + (<usize>((at + sx) & round) << 2), r, 1);
  r = v128.load32_lane(row + (<usize>((at + 2 * sx) & round) << 2), r, 2);
  return v128.load32_lane(row + (<usize>((at + 3 * sx) & round) << 2), r, 3);
}

/**
 * Grain on a performer (see addGrain in src/join/air/air.ts): coded (three planes of `n` pixels, rows of w) in place.
 * curves: of each channel 64 levels of wanted, 64 of the take's own sd. red, mid, blue: tiles, side × side, read from
 * (ox, oy) by steps sx, sy (1 or −1). Items are rows. Scratch: 384 floats.
 */
export function grainOver(
  coded: usize, matte: usize, w: i32, n: i32, curves: usize, amount: f32, keep: f32, red: usize, mid: usize,
  blue: usize, side: i32, ox: i32, oy: i32, sx: i32, sy: i32, from: i32, to: i32, scratch: usize,
): void {
  const round = side - 1, plane = <usize>n << 2;
  // The variance wanted at each level, and the sd that a whole performer brings.
  for (let c: usize = 0; c < 1536; c += 512) {
    for (let k: usize = 0; k < 256; k += 4) {
      const want = load<f32>(curves + c + k) * amount;
      store<f32>(scratch + c + k, want * want);
      store<f32>(scratch + c + k, load<f32>(curves + c + k, 256) * keep, 256);
    }
  }
  const zero = f32x4.splat(0), one = f32x4.splat(1), top = f32x4.splat(63), half = f32x4.splat(0.5);
  for (let y = from; y < to; y++) {
    const down = <usize>(((oy + sy * y) & round) * side) << 2;
    let x = 0;
    for (; x + 4 <= w; x += 4) {
      const i = <usize>(y * w + x) << 2;
      const a = v128.load(matte + i);
      if (!v128.any_true(f32x4.gt(a, zero))) continue;
      const at = (ox + sx * x) & round, b = f32x4.sub(one, a), share = f32x4.sub(one, f32x4.mul(b, b));
      for (let c: usize = 0; c < 3; c++) {
        const p = coded + c * plane + i, table = scratch + (c << 9);
        const v = v128.load(p);
        const k = i32x4.shl(
          i32x4.trunc_sat_f32x4_s(f32x4.add(f32x4.mul(f32x4.pmin(one, f32x4.pmax(zero, v)), top), half)), 2,
        );
        const taken = f32x4.mul(knot4(table + 256, k), a);
        const missing = f32x4.sub(f32x4.mul(knot4(table, k), share), f32x4.mul(taken, taken));
        const noise = noise4((c == 0 ? red : c == 1 ? mid : blue) + down, at, sx, round);
        const on = v128.and(f32x4.gt(missing, zero), f32x4.gt(a, zero));
        const grown = f32x4.add(v, f32x4.mul(f32x4.sqrt(f32x4.pmax(zero, missing)), noise));
        v128.store(p, v128.bitselect(grown, v, on));
      }
    }
    for (; x < w; x++) {
      const i = <usize>(y * w + x) << 2;
      const a = load<f32>(matte + i);
      if (a <= 0) continue;
      const at = <usize>((ox + sx * x) & round) << 2, b: f32 = <f32>1 - a;
      for (let c: usize = 0; c < 3; c++) {
        const p = coded + c * plane + i, table = scratch + (c << 9);
        const l = load<f32>(p);
        const k = <usize>(l <= 0 ? 0 : l >= 1 ? 63 : <i32>(l * 63 + <f32>0.5)) << 2;
        const taken = load<f32>(table + k, 256) * a;
        const missing = load<f32>(table + k) * (<f32>1 - b * b) - taken * taken;
        const noise = load<f32>((c == 0 ? red : c == 1 ? mid : blue) + down + at);
        if (missing > 0) store<f32>(p, l + Mathf.sqrt(missing) * noise);
      }
    }
  }
}
