// Shade of a plane under a body of balls (see src/join/ground/ground.ts, shadow-map.ts), four pixels at a time: share
// of the key hidden, from a shadow map, and share of the sky hidden by a few balls. Items are rows. Twin:
// fillShadePlain.

// @ts-ignore: decorator
@inline
function at(k: usize, i: i32): f32 {
  return load<f32>(k + (<usize>i << 2));
}

// @ts-ignore: decorator
@inline
function all(k: usize, i: i32): v128 {
  return v128.load32_splat(k + (<usize>i << 2));
}

/** Share of the key hidden at map place (fx, fy) for a point `height` towards the light. */
function shadow(k: usize, levels: usize, stand: usize, fx: f32, fy: f32, height: f32): f32 {
  const w = <i32>at(k, 23), h = <i32>at(k, 24);
  const ix = <i32>Mathf.floor(fx), iy = <i32>Mathf.floor(fy);
  if (ix < 0 || iy < 0 || ix >= w - 1 || iy >= h - 1) return 0;
  const i = iy * w + ix;
  const way = load<f32>(stand + (<usize>i << 2)) - height;
  // A body behind the point, seen from the light, throws no shadow on it.
  if (way <= 0) return 0;
  const penumbra = way * at(k, 21);
  const sigma = Mathf.sqrt(at(k, 22) + penumbra * penumbra);
  const made = <i32>at(k, 25);
  let l = 0;
  while (l < made - 2 && sigma > at(k, 26 + l + 1)) l++;
  const lo = at(k, 26 + l), hi = at(k, 26 + l + 1);
  const t: f32 = sigma <= lo ? 0 : sigma >= hi ? 1 : (sigma - lo) / (hi - lo);
  const tx = fx - <f32>ix, ty = fy - <f32>iy;
  const plane = <usize>(w * h) << 2, row = <usize>w << 2;
  const p = levels + <usize>l * plane + (<usize>i << 2), q = p + plane;
  const sx: f32 = <f32>1 - tx, sy: f32 = <f32>1 - ty;
  const w00 = sx * sy, w10 = tx * sy, w01 = sx * ty, w11 = tx * ty;
  const cl = load<f32>(p) * w00 + load<f32>(p, 4) * w10 + load<f32>(p + row) * w01 + load<f32>(p + row, 4) * w11;
  const ch = load<f32>(q) * w00 + load<f32>(q, 4) * w10 + load<f32>(q + row) * w01 + load<f32>(q + row, 4) * w11;
  return cl + (ch - cl) * t;
}

/**
 * Four floats at p, at the bytes further that the lanes of `at` say, and their right
 * neighbours: the left and right of each, mixed by t.
 */
// @ts-ignore: decorator
@inline
function pairsAt(p: usize, o0: usize, o1: usize, o2: usize, o3: usize, t: v128): v128 {
  const a = v128.load64_lane(p + o1, v128.load64_zero(p + o0), 1);
  const b = v128.load64_lane(p + o3, v128.load64_zero(p + o2), 1);
  const left = v128.shuffle<f32>(a, b, 0, 2, 4, 6), right = v128.shuffle<f32>(a, b, 1, 3, 5, 7);
  return f32x4.add(left, f32x4.mul(f32x4.sub(right, left), t));
}

/**
 * The same as `shadow` of four places at once, where they lie between the same two blurs; one by one where they do not.
 */
function shadows(k: usize, levels: usize, stand: usize, fx: v128, fy: v128, height: v128): v128 {
  const w = <i32>at(k, 23), h = <i32>at(k, 24), made = <i32>at(k, 25);
  const zero = f32x4.splat(0), one = f32x4.splat(1);
  const ix = f32x4.floor(fx), iy = f32x4.floor(fy);
  const inside = v128.and(
    v128.and(f32x4.ge(ix, zero), f32x4.ge(iy, zero)),
    v128.and(f32x4.lt(ix, f32x4.splat(<f32>(w - 1))), f32x4.lt(iy, f32x4.splat(<f32>(h - 1)))),
  );
  // Places off the map read its first cell and count for nothing.
  const place = i32x4.shl(
    v128.and(inside, i32x4.add(i32x4.mul(i32x4.trunc_sat_f32x4_s(iy), i32x4.splat(w)), i32x4.trunc_sat_f32x4_s(ix))),
    2,
  );
  const o0 = <usize>i32x4.extract_lane(place, 0), o1 = <usize>i32x4.extract_lane(place, 1);
  const o2 = <usize>i32x4.extract_lane(place, 2), o3 = <usize>i32x4.extract_lane(place, 3);
  let far = v128.load32_zero(stand + o0);
  far = v128.load32_lane(stand + o1, far, 1);
  far = v128.load32_lane(stand + o2, far, 2);
  far = v128.load32_lane(stand + o3, far, 3);
  const way = f32x4.sub(far, height);
  // A body behind the point, seen from the light, throws no shadow on it.
  const hit = v128.and(inside, f32x4.gt(way, zero));
  if (!v128.any_true(hit)) return zero;
  const penumbra = f32x4.mul(way, all(k, 21)), sigma = f32x4.sqrt(f32x4.add(all(k, 22), f32x4.mul(penumbra, penumbra)));
  let l = 0;
  for (; l < made - 2; l++) {
    const over = i32x4.bitmask(v128.and(hit, f32x4.gt(sigma, all(k, 27 + l)))), here = i32x4.bitmask(hit);
    if (over == 0) break;
    if (over == here) continue;
    let mixed = f32x4.splat(
      shadow(k, levels, stand, f32x4.extract_lane(fx, 0), f32x4.extract_lane(fy, 0), f32x4.extract_lane(height, 0))
    );
    mixed = f32x4.replace_lane(
      mixed, 1,
      shadow(k, levels, stand, f32x4.extract_lane(fx, 1), f32x4.extract_lane(fy, 1), f32x4.extract_lane(height, 1)),
    );
    mixed = f32x4.replace_lane(
      mixed, 2,
      shadow(k, levels, stand, f32x4.extract_lane(fx, 2), f32x4.extract_lane(fy, 2), f32x4.extract_lane(height, 2)),
    );
    return f32x4.replace_lane(
      mixed, 3,
      shadow(k, levels, stand, f32x4.extract_lane(fx, 3), f32x4.extract_lane(fy, 3), f32x4.extract_lane(height, 3)),
    );
  }
  const lo = all(k, 26 + l), hi = all(k, 27 + l);
  const t = f32x4.min(one, f32x4.max(zero, f32x4.div(f32x4.sub(sigma, lo), f32x4.sub(hi, lo))));
  const tx = f32x4.sub(fx, ix), ty = f32x4.sub(fy, iy);
  const plane = <usize>(w * h) << 2, row = <usize>w << 2, p = levels + <usize>l * plane, q = p + plane;
  const pu = pairsAt(p, o0, o1, o2, o3, tx), pd = pairsAt(p + row, o0, o1, o2, o3, tx);
  const qu = pairsAt(q, o0, o1, o2, o3, tx), qd = pairsAt(q + row, o0, o1, o2, o3, tx);
  const cl = f32x4.add(pu, f32x4.mul(f32x4.sub(pd, pu), ty)), ch = f32x4.add(qu, f32x4.mul(f32x4.sub(qd, qu), ty));
  return v128.and(hit, f32x4.add(cl, f32x4.mul(f32x4.sub(ch, cl), t)));
}

/** Share of the sky that `count` balls (x, y, z, r²) hide from four points of a plane; 0 where `seen` is off. */
// @ts-ignore: decorator
@inline
function contactOf(
  near: usize, count: i32, px: v128, py: v128, pz: v128, nx: v128, ny: v128, nz: v128, seen: v128,
): v128 {
  const zero = f32x4.splat(0), one = f32x4.splat(1);
  let open = one;
  for (let b = 0; b < count; b++) {
    const p = near + (<usize>b << 4);
    const vx = f32x4.sub(all(p, 0), px), vy = f32x4.sub(all(p, 1), py), vz = f32x4.sub(all(p, 2), pz);
    const d2 = f32x4.add(f32x4.add(f32x4.mul(vx, vx), f32x4.mul(vy, vy)), f32x4.mul(vz, vz));
    const up = f32x4.add(f32x4.add(f32x4.mul(vx, nx), f32x4.mul(vy, ny)), f32x4.mul(vz, nz));
    const hides = f32x4.div(f32x4.mul(up, all(p, 3)), f32x4.mul(d2, f32x4.sqrt(d2)));
    open = f32x4.mul(open, f32x4.sub(one, f32x4.pmin(one, f32x4.pmax(zero, hides))));
  }
  return v128.and(seen, f32x4.sub(one, open));
}

/** Contact at places `step` pixels apart of row y, `cells` of them (a multiple of four), into `out`. */
function contactRow(k: usize, near: usize, count: i32, y: f32, step: i32, cells: i32, out: usize): void {
  const nx = all(k, 3), ny = all(k, 4), nz = all(k, 5), zero = f32x4.splat(0);
  const dy = f32x4.splat((at(k, 1) + y) * at(k, 2)), slope = f32x4.add(f32x4.mul(dy, ny), nz);
  for (let i = 0; i < cells; i += 4) {
    const x = f32x4.mul(f32x4.add(f32x4.splat(<f32>i), f32x4(0, 1, 2, 3)), f32x4.splat(<f32>step));
    const dx = f32x4.mul(f32x4.add(f32x4.splat(at(k, 0)), x), all(k, 2));
    const facing = f32x4.add(f32x4.mul(dx, nx), slope), s = f32x4.div(all(k, 6), facing);
    const seen = v128.and(f32x4.lt(facing, f32x4.splat(-1e-6)), f32x4.gt(s, zero));
    v128.store(out + (<usize>i << 2), contactOf(near, count, f32x4.mul(dx, s), f32x4.mul(dy, s), s, nx, ny, nz, seen));
  }
}

/** Narrows the stretch of dx (lo, hi) to where a dx + b is 0 or more. */
// @ts-ignore: decorator
@inline
function least(a: f64, b: f64, lo: f64): f64 {
  return a > 0 ? max(lo, -b / a) : a == 0 && b < 0 ? Infinity : lo;
}

// @ts-ignore: decorator
@inline
function most(a: f64, b: f64, hi: f64): f64 {
  return a < 0 ? min(hi, -b / a) : hi;
}

/**
 * Columns of row y (first and one after the last, in fours) that may be shaded: those whose places on the map lie
 * within k's 32 to 35, and those where contact (already worked out at `cells` places of `line`, `step` apart) is above
 * k's 36. Into `span`.
 */
function spanOf(k: usize, y: i32, w: i32, map: bool, line: usize, step: i32, cells: i32, span: usize): void {
  const inv = <f64>at(k, 2), dy = (<f64>at(k, 1) + <f64>y) * inv;
  const nx = <f64>at(k, 3), nz = dy * <f64>at(k, 4) + <f64>at(k, 5), dist = <f64>at(k, 6);
  let x0 = w, x1 = 0;
  // A plane that is seen from in front lies on the camera's other side: dist is below 0, and so is every facing.
  if (map && dist < 0) {
    let lo = -Infinity, hi = Infinity;
    for (let axis = 0; axis < 2; axis++) {
      const j = 7 + 4 * axis;
      const p = <f64>at(k, j), q = dy * <f64>at(k, j + 1) + <f64>at(k, j + 2), start = <f64>at(k, j + 3);
      const from = (start + <f64>at(k, 32 + axis)) / dist, to = (start + <f64>at(k, 34 + axis)) / dist;
      const a = p - from * nx, b = q - from * nz, c = to * nx - p, d = to * nz - q;
      lo = least(c, d, least(a, b, lo));
      hi = most(c, d, most(a, b, hi));
    }
    if (hi >= lo) {
      // Two pixels for the rounding.
      const first = <f64>at(k, 0);
      x0 = <i32>max(<f64>0, min(<f64>w, Math.floor(lo / inv - first) - 2));
      x1 = <i32>max(<f64>0, min(<f64>w, Math.ceil(hi / inv - first) + 3));
    }
  }
  if (cells > 0) {
    const enough = at(k, 36);
    let c0 = 0, c1 = cells;
    while (c0 < cells && !(load<f32>(line + (<usize>c0 << 2)) > enough)) c0++;
    while (c1 > c0 && !(load<f32>(line + (<usize>(c1 - 1) << 2)) > enough)) c1--;
    if (c1 > c0) {
      x0 = min(x0, max(0, (c0 - 1) * step));
      x1 = max(x1, min(w, c1 * step));
    }
  }
  x0 &= ~3;
  store<i32>(span, x0);
  store<i32>(span, max(x0, min(w, (x1 + 3) & ~3)), 4);
}

/**
 * Where a shade reaches: of each row the columns of the map (two numbers), then those of contact, which is looked at on
 * every `down`th row (none on the others). k, near, step as in shadePlane. Scratch: w / step + 8 floats.
 */
export function shadeReach(
  k: usize, near: usize, count: i32, step: i32, down: i32, w: i32, out: usize, from: i32, to: i32, scratch: usize,
): void {
  const cells = ((w + step - 1) / step + 4) & ~3;
  const map = at(k, 18) != 0;
  for (let y = from; y < to; y++) {
    const span = out + (<usize>y << 4);
    spanOf(k, y, w, map, scratch, step, 0, span);
    const asked = count > 0 && y % down == 0;
    if (asked) contactRow(k, near, count, <f32>y, step, cells, scratch);
    spanOf(k, y, w, false, scratch, step, asked ? cells : 0, span + 8);
  }
}

/**
 * k: 0 first x, 1 first y (pixel centres less the principal point), 2 one over focal, 3 to 5 plane's normal, 6 its
 * distance; 7 to 10 map axis x and its start, all over cell; 11 to 14 axis y; 15 to 17 light; 18 map there or not;
 * 21 spread over cell, 22 square of the blur always there, 23, 24 map size, 25 blurs made, 26 to 30 the blurs; 32 to 35
 * the part of the map that holds something (x0, y0, x1, y1), 36 contact that counts without the key's shadow.
 * `near`: count balls (x, y, z, r²). Contact is worked out `step` pixels apart along a row (1, or a multiple of
 * four) and a line between. spans: of each row the columns worked out, first and one after the last; all others are 0.
 * Scratch: w / step + 8 floats.
 */
export function shadePlane(
  k: usize, levels: usize, stand: usize, near: usize, count: i32, step: i32, cover: usize, contact: usize, w: i32,
  h: i32, spans: usize, from: i32, to: i32, scratch: usize,
): void {
  const nx = all(k, 3), ny = all(k, 4), nz = all(k, 5), dist = all(k, 6), inv = all(k, 2);
  const zero = f32x4.splat(0);
  const map = at(k, 18) != 0;
  const cells = ((w + step - 1) / step + 4) & ~3;
  for (let y = from; y < to; y++) {
    const dy = f32x4.splat((at(k, 1) + <f32>y) * at(k, 2));
    const slope = f32x4.add(f32x4.mul(dy, ny), nz);
    if (step > 1 && count > 0) contactRow(k, near, count, <f32>y, step, cells, scratch);
    const span = spans + (<usize>y << 3);
    // Contact at every pixel is worked out with the rest.
    if (step == 1 && count > 0) {
      store<i32>(span, 0);
      store<i32>(span, w, 4);
    } else spanOf(k, y, w, map, scratch, step, count > 0 ? cells : 0, span);
    const begin = load<i32>(span), end = load<i32>(span, 4), line = <usize>(y * w) << 2;
    memory.fill(cover + line, 0, <usize>begin << 2);
    memory.fill(contact + line, 0, <usize>begin << 2);
    memory.fill(cover + line + (<usize>end << 2), 0, <usize>(w - end) << 2);
    memory.fill(contact + line + (<usize>end << 2), 0, <usize>(w - end) << 2);
    for (let x = begin; x < end; x += 4) {
      const dx = f32x4.mul(f32x4.add(f32x4.splat(at(k, 0) + <f32>x), f32x4(0, 1, 2, 3)), inv);
      const facing = f32x4.add(f32x4.mul(dx, nx), slope);
      const s = f32x4.div(dist, facing);
      // Seen from in front only: the line of sight runs against the plane's normal.
      const seen = v128.and(f32x4.lt(facing, f32x4.splat(-1e-6)), f32x4.gt(s, zero));
      let hiddenSky = zero, hiddenKey = zero;
      if (v128.any_true(seen)) {
        const px = f32x4.mul(dx, s), py = f32x4.mul(dy, s);
        if (count > 0) {
          if (step == 1) hiddenSky = contactOf(near, count, px, py, s, nx, ny, nz, seen);
          else {
            const c = x / step;
            const p = scratch + (<usize>c << 2);
            const t = f32x4.mul(
              f32x4.add(f32x4.splat(<f32>(x - c * step)), f32x4(0, 1, 2, 3)),
              f32x4.splat(<f32>1 / <f32>step),
            );
            hiddenSky = v128.and(seen, f32x4.add(all(p, 0), f32x4.mul(f32x4.sub(all(p, 1), all(p, 0)), t)));
          }
        }
        if (map) {
          const fx = f32x4.sub(
            f32x4.add(f32x4.add(f32x4.mul(px, all(k, 7)), f32x4.mul(py, all(k, 8))), f32x4.mul(s, all(k, 9))),
            all(k, 10),
          );
          const fy = f32x4.sub(
            f32x4.add(f32x4.add(f32x4.mul(px, all(k, 11)), f32x4.mul(py, all(k, 12))), f32x4.mul(s, all(k, 13))),
            all(k, 14),
          );
          const on = v128.and(
            v128.and(f32x4.ge(fx, zero), f32x4.ge(fy, zero)),
            v128.and(f32x4.lt(fx, all(k, 23)), f32x4.lt(fy, all(k, 24))),
          );
          if (v128.any_true(v128.and(on, seen))) {
            const height = f32x4.add(
              f32x4.add(f32x4.mul(px, all(k, 15)), f32x4.mul(py, all(k, 16))),
              f32x4.mul(s, all(k, 17)),
            );
            hiddenKey = v128.and(v128.and(on, seen), shadows(k, levels, stand, fx, fy, height));
          }
        }
      }
      const o = <usize>(y * w + x) << 2;
      if (x + 4 <= w) {
        v128.store(cover + o, hiddenKey);
        v128.store(contact + o, hiddenSky);
      } else {
        store<f32>(cover + o, f32x4.extract_lane(hiddenKey, 0));
        store<f32>(contact + o, f32x4.extract_lane(hiddenSky, 0));
        if (x + 1 < w) {
          store<f32>(cover + o, f32x4.extract_lane(hiddenKey, 1), 4);
          store<f32>(contact + o, f32x4.extract_lane(hiddenSky, 1), 4);
        }
        if (x + 2 < w) {
          store<f32>(cover + o, f32x4.extract_lane(hiddenKey, 2), 8);
          store<f32>(contact + o, f32x4.extract_lane(hiddenSky, 2), 8);
        }
      }
    }
  }
}
