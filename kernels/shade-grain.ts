// The film's grain inside a shadow that is laid on the plate (see src/join/ground/shade-grain.ts). Twin:
// grainInShadePlain.

// @ts-ignore: decorator
@inline
function levelOf(v: f32): usize {
  return <usize>(v <= 0 ? 0 : v >= 1 ? 63 : <i32>(v * 63 + <f32>0.5)) << 2;
}

/** Where the values of four levels stand, in bytes. */
// @ts-ignore: decorator
@inline
function levels4(v: v128): v128 {
  const held = f32x4.mul(f32x4.min(f32x4.splat(1), f32x4.max(f32x4.splat(0), v)), f32x4.splat(63));
  return i32x4.shl(i32x4.trunc_sat_f32x4_s(f32x4.add(held, f32x4.splat(0.5))), 2);
}

/** Four values of a table, at so many bytes. */
// @ts-ignore: decorator
@inline
function lookUp4(table: usize, at: v128): v128 {
  let r = v128.load32_zero(table + <usize>i32x4.extract_lane(at, 0));
  r = v128.load32_lane(table + <usize>i32x4.extract_lane(at, 1), r, 1);
  r = v128.load32_lane(table + <usize>i32x4.extract_lane(at, 2), r, 2);
  return v128.load32_lane(table + <usize>i32x4.extract_lane(at, 3), r, 3);
}

/**
 * Grows grain over coded values (three planes of `n` pixels, rows of w) where less than `nearly` of the light that
 * `before` (rows of `wide`) holds is left in `green`, and no more than `most` of the matte lies. Pixel (u, v) of the
 * shaded part stands at `first` + v w + u in the planes. curves: 64 sd of each channel, then `steps` + 1 coded values
 * left by light left. tiles: pointers of three tiles, side × side, read from (ox, oy) by steps sx, sy (1 or −1). Items
 * are rows.
 */
export function shadeGrain(
  before: usize, green: usize, coded: usize, matte: usize, w: i32, n: i32, first: i32, wide: i32, curves: usize,
  steps: i32, nearly: f32, most: f32, share: f32, red: usize, mid: usize, blue: usize, side: i32, ox: i32, oy: i32,
  sx: i32, sy: i32, from: i32, to: i32, scratch: usize,
): void {
  const round = side - 1, plane = <usize>n << 2, lefts = curves + 768;
  const zero = f32x4.splat(0), vnear = f32x4.splat(nearly), vmost = f32x4.splat(most), vshare = f32x4.splat(share);
  const vsteps = f32x4.splat(<f32>steps);
  for (let v = from; v < to; v++) {
    const row = <usize>(((oy + sy * v) & round) * side) << 2;
    for (let u = 0; u < wide; u++) {
      const i = <usize>(first + v * w + u) << 2, j = <usize>(v * wide + u) << 2;
      const at = (ox + sx * u) & round;
      if (u + 4 <= wide) {
        const lit = v128.load(before + j), dark = v128.load(green + i);
        const on = v128.and(f32x4.lt(dark, f32x4.mul(vnear, lit)), f32x4.le(v128.load(matte + i), vmost));
        if (!v128.any_true(on)) { u += 3; continue; }
        // Noise that lies in one piece; where the tile goes round the four are taken one by one.
        if (sx > 0 ? at + 3 <= round : at >= 3) {
          const part = f32x4.max(zero, f32x4.div(f32x4.mul(vsteps, dark), lit));
          const left = lookUp4(lefts, i32x4.shl(i32x4.min_s(i32x4.trunc_sat_f32x4_s(part), i32x4.splat(steps)), 2));
          const some = f32x4.gt(left, zero);
          for (let c: usize = 0; c < 3; c++) {
            const curve = curves + (c << 8), p = coded + c * plane + i;
            const l = v128.load(p);
            const want = lookUp4(curve, levels4(l));
            const bright = v128.bitselect(f32x4.div(l, left), l, some);
            const own = f32x4.mul(lookUp4(curve, levels4(bright)), left);
            const missing = f32x4.sub(f32x4.mul(want, want), f32x4.mul(own, own));
            const tile = (c == 0 ? red : c == 1 ? mid : blue) + row;
            let noise: v128;
            if (sx > 0) noise = v128.load(tile + (<usize>at << 2));
            else {
              const back = v128.load(tile + (<usize>(at - 3) << 2));
              noise = v128.shuffle<f32>(back, back, 3, 2, 1, 0);
            }
            const grown = f32x4.mul(f32x4.mul(vshare, f32x4.sqrt(f32x4.max(zero, missing))), noise);
            v128.store(p, v128.bitselect(f32x4.add(l, grown), l, v128.and(on, f32x4.gt(missing, zero))));
          }
          u += 3;
          continue;
        }
      }
      const lit = load<f32>(before + j), dark = load<f32>(green + i);
      if (!(dark < nearly * lit) || load<f32>(matte + i) > most) continue;
      const left = load<f32>(lefts + (<usize>(dark <= 0 ? 0 : <i32>(<f32>steps * dark / lit)) << 2));
      for (let c: usize = 0; c < 3; c++) {
        const curve = curves + (c << 8), p = coded + c * plane + i;
        const l = load<f32>(p);
        const want = load<f32>(curve + levelOf(l)), own = load<f32>(curve + levelOf(left > 0 ? l / left : l)) * left;
        const missing = want * want - own * own;
        const tile = (c == 0 ? red : c == 1 ? mid : blue) + row;
        if (missing > 0) store<f32>(p, l + share * Mathf.sqrt(missing) * load<f32>(tile + (<usize>at << 2)));
      }
    }
  }
}
