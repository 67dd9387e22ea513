// A body of balls drawn on a grid (see src/join/body/ball-grids.ts). Balls are float triples or quadruples in cells of
// the grid. Twins: ballsFrontPlain, ballsDepthPlain.

const LANES = f32x4(0.5, 1.5, 2.5, 3.5);

/**
 * Height of the front surface: the root of the most of r² − dx² − dy² over the balls (x, y, r), 0 where none reaches,
 * times `scale`, less `tilt` · x + `from0`. Items are rows.
 */
export function ballsFront(
  balls: usize, count: i32, dst: usize, w: i32, h: i32, scale: f32, tilt: f32, from0: f32, from: i32, to: i32,
  scratch: usize,
): void {
  for (let y = from; y < to; y++) {
    const row = dst + (<usize>(y * w) << 2);
    memory.fill(row, 0, <usize>w << 2);
    for (let k = 0; k < count; k++) {
      const b = balls + <usize>k * 12;
      const bx = load<f32>(b), r = load<f32>(b, 8), dy = <f32>y + <f32>0.5 - load<f32>(b, 4);
      const s0 = r * r - dy * dy;
      if (s0 <= 0) continue;
      const half = Mathf.sqrt(s0);
      const x1 = min(w - 1, <i32>Mathf.floor(bx + half));
      let x = max(0, <i32>Mathf.floor(bx - half));
      const v0 = f32x4.splat(s0);
      for (; x + 3 <= x1; x += 4) {
        const p = row + (<usize>x << 2);
        const dx = f32x4.add(f32x4.splat(<f32>x - bx), LANES);
        v128.store(p, f32x4.pmax(v128.load(p), f32x4.sub(v0, f32x4.mul(dx, dx))));
      }
      for (; x <= x1; x++) {
        const p = row + (<usize>x << 2);
        const dx = <f32>x + <f32>0.5 - bx;
        store<f32>(p, max(load<f32>(p), s0 - dx * dx));
      }
    }
    let x = 0;
    const vs = f32x4.splat(scale), vt = f32x4.splat(tilt), vf = f32x4.splat(from0);
    for (; x + 4 <= w; x += 4) {
      const p = row + (<usize>x << 2), at = f32x4.add(f32x4.splat(<f32>x), f32x4(0, 1, 2, 3));
      v128.store(p, f32x4.sub(f32x4.mul(f32x4.sqrt(v128.load(p)), vs), f32x4.add(f32x4.mul(at, vt), vf)));
    }
    for (; x < w; x++)
      store<f32>(row + (<usize>x << 2), Mathf.sqrt(load<f32>(row + (<usize>x << 2))) * scale - (<f32>x * tilt + from0));
  }
}

/** Sides of the tiles in cells: a part of the grid, and within it the tiles that balls are drawn into. */
const PART: i32 = 32, TILE: i32 = 8;
/** From the middle of a square of 32, 8 and 4 cells to its farthest cell, and a little for rounding. */
const HALF_PART: f32 = 21.95, HALF_TILE: f32 = 4.96, HALF_BLOCK: f32 = 2.14;

/**
 * Of a list of balls (planes of `room` values: x, y, r, stand) those that can count in a square, into `out`
 * in the same order and form; padded with radii of −1e9. Depth changes by no more than the way from cell to
 * cell: with D at the square's middle no cell of it is less deep than D − half, and a ball in which the
 * middle lies by 2 half less deep has no part in it. Returns their number; made negative (−1 − number) where
 * some cell may lie farther than `beyond` from all.
 */
function counting(
  list: usize, count: i32, room: usize, mx: f32, my: f32, side: f32, half: f32, beyond: f32, out: usize, depths: usize,
): i32 {
  const ys = list + room, rs = ys + room, ss = rs + room;
  const vx = f32x4.splat(mx), vy = f32x4.splat(my);
  let deepest = f32x4.splat(-1e9);
  for (let k = 0; k < count; k += 4) {
    const p = <usize>k << 2;
    const dx = f32x4.sub(v128.load(list + p), vx), dy = f32x4.sub(v128.load(ys + p), vy);
    const v = f32x4.sub(v128.load(rs + p), f32x4.sqrt(f32x4.add(f32x4.mul(dx, dx), f32x4.mul(dy, dy))));
    v128.store(depths + p, v);
    deepest = f32x4.pmax(deepest, v);
  }
  const most = Mathf.max(
    Mathf.max(f32x4.extract_lane(deepest, 0), f32x4.extract_lane(deepest, 1)),
    Mathf.max(f32x4.extract_lane(deepest, 2), f32x4.extract_lane(deepest, 3)),
  );
  // A ball that is that deep reaches every cell of the square only if its border is not too near.
  const whole = most - half >= -beyond;
  const least = f32x4.splat(whole ? most - <f32>2 * half : -1e8);
  const reach = f32x4.splat(beyond + <f32>0.5 * side + <f32>1.5);
  let n: usize = 0;
  for (let k = 0; k < count; k += 4) {
    const p = <usize>k << 2;
    let near = f32x4.gt(v128.load(depths + p), least);
    if (!v128.any_true(near)) continue;
    if (!whole) {
      const r = f32x4.add(v128.load(rs + p), reach);
      near = v128.and(
        near,
        v128.and(
          f32x4.lt(f32x4.abs(f32x4.sub(v128.load(list + p), vx)), r),
          f32x4.lt(f32x4.abs(f32x4.sub(v128.load(ys + p), vy)), r),
        ),
      );
    }
    let m = i32x4.bitmask(near);
    while (m != 0) {
      const q = p + (<usize>ctz(m) << 2), o = out + (n << 2);
      store<f32>(o, load<f32>(list + q));
      store<f32>(o + room, load<f32>(ys + q));
      store<f32>(o + 2 * room, load<f32>(rs + q));
      store<f32>(o + 3 * room, load<f32>(ss + q));
      n++;
      m &= m - 1;
    }
  }
  // A whole group of four may be read.
  v128.store(out + (n << 2) + 2 * room, f32x4.splat(-1e9));
  return whole ? <i32>n : -1 - <i32>n;
}

/**
 * How deep a cell lies inside the ball that it lies deepest in, negative outside, and that ball's stand. Cells
 * farther than `beyond` (across or down) from every ball keep −1e9 and 0. Of two as deep the first counts. xs,
 * ys, rs, stands: planes of `room` values in one piece at `list`, padded to a multiple of four with radii of
 * −1e9. Items are rows of parts; scratch 9 room floats. Most balls are passed by for a whole part, most others
 * for a tile, and of these most for a block of it.
 */
export function ballsDepth(
  list: usize, count: i32, planeOf: i32, beyond: f32, depth: usize, stand: usize, w: i32, h: i32, from: i32, to: i32,
  scratch: usize,
): void {
  const room = <usize>planeOf << 2;
  const depths = scratch, inPart = scratch + room, inTile = inPart + 4 * room;
  for (let part = from; part < to; part++) {
    const py = part * PART, pEnd = min(h, py + PART);
    for (let y = py; y < pEnd; y++) {
      const row = depth + (<usize>(y * w) << 2);
      for (let x = 0; x < w; x++) store<f32>(row + (<usize>x << 2), -1e9);
      memory.fill(stand + (<usize>(y * w) << 2), 0, <usize>w << 2);
    }
    for (let px = 0; px < w; px += PART) {
      const found = counting(
        list, count, room, <f32>px + <f32>0.5 * <f32>PART, <f32>py + <f32>0.5 * <f32>PART, <f32>PART, HALF_PART, beyond,
        inPart, depths,
      );
      const here = found < 0 ? -1 - found : found;
      if (here == 0) continue;
      for (let y0 = py; y0 < pEnd; y0 += TILE) {
        for (let x0 = px; x0 < min(w, px + PART); x0 += TILE) {
          const n = counting(
            inPart, here, room, <f32>x0 + <f32>0.5 * <f32>TILE, <f32>y0 + <f32>0.5 * <f32>TILE, <f32>TILE, HALF_TILE,
            beyond, inTile, depths,
          );
          const y1 = min(h, y0 + TILE) - 1, x1 = min(w, x0 + TILE) - 1;
          if (n < 0 || y1 - y0 < TILE - 1 || x1 - x0 < TILE - 1) {
            const all = n < 0 ? -1 - n : n;
            for (let k = 0; k < all; k++) {
              const p = inTile + (<usize>k << 2);
              intoTile(
                load<f32>(p), load<f32>(p + room), load<f32>(p + 2 * room), load<f32>(p + 3 * room), beyond, depth,
                stand, w, x0, y0, x1, y1,
              );
            }
            continue;
          }
          for (let y = y0; y <= y1; y += 4)
            for (let x = x0; x <= x1; x += 4)
              intoBlock(
                inTile, n, room, depth + (<usize>(y * w + x) << 2), stand + (<usize>(y * w + x) << 2), w, <f32>x,
                <f32>y,
              );
        }
      }
    }
  }
}

/** The balls of a list drawn into a block of 4 × 4 cells, all of which they reach. */
function intoBlock(list: usize, count: i32, room: usize, depth: usize, stand: usize, w: i32, x: f32, y: f32): void {
  let d0 = f32x4.splat(-1e9), d1 = d0, d2 = d0, d3 = d0;
  let s0 = f32x4.splat(0), s1 = s0, s2 = s0, s3 = s0;
  const at = f32x4.add(f32x4.splat(x), LANES);
  // The least depth so far of the block's cells.
  let least: f32 = -1e9;
  for (let k = 0; k < count; k++) {
    const p = list + (<usize>k << 2);
    const bx = load<f32>(p), by = load<f32>(p + room), r = load<f32>(p + 2 * room);
    // The middle lies deep enough for some cell to lie deeper than the least?
    const need = r - least + HALF_BLOCK, mx = x + <f32>2 - bx, my = y + <f32>2 - by;
    if (need <= 0 || mx * mx + my * my > need * need) continue;
    const dx = f32x4.sub(at, f32x4.splat(bx)), vr = f32x4.splat(r), vs = v128.load32_splat(p + 3 * room);
    const xx = f32x4.mul(dx, dx);
    const a = y + <f32>0.5 - by, b = y + <f32>1.5 - by, c = y + <f32>2.5 - by, d = y + <f32>3.5 - by;
    const i0 = f32x4.sub(vr, f32x4.sqrt(f32x4.add(xx, f32x4.splat(a * a))));
    const i1 = f32x4.sub(vr, f32x4.sqrt(f32x4.add(xx, f32x4.splat(b * b))));
    const i2 = f32x4.sub(vr, f32x4.sqrt(f32x4.add(xx, f32x4.splat(c * c))));
    const i3 = f32x4.sub(vr, f32x4.sqrt(f32x4.add(xx, f32x4.splat(d * d))));
    const g0 = f32x4.gt(i0, d0), g1 = f32x4.gt(i1, d1), g2 = f32x4.gt(i2, d2), g3 = f32x4.gt(i3, d3);
    if (!v128.any_true(v128.or(v128.or(g0, g1), v128.or(g2, g3)))) continue;
    d0 = v128.bitselect(i0, d0, g0);
    d1 = v128.bitselect(i1, d1, g1);
    d2 = v128.bitselect(i2, d2, g2);
    d3 = v128.bitselect(i3, d3, g3);
    s0 = v128.bitselect(vs, s0, g0);
    s1 = v128.bitselect(vs, s1, g1);
    s2 = v128.bitselect(vs, s2, g2);
    s3 = v128.bitselect(vs, s3, g3);
    const m = f32x4.pmin(f32x4.pmin(d0, d1), f32x4.pmin(d2, d3));
    least = min(
      min(f32x4.extract_lane(m, 0), f32x4.extract_lane(m, 1)),
      min(f32x4.extract_lane(m, 2), f32x4.extract_lane(m, 3)),
    );
  }
  const row = <usize>w << 2;
  v128.store(depth, d0); v128.store(depth + row, d1); v128.store(depth + 2 * row, d2); v128.store(depth + 3 * row, d3);
  v128.store(stand, s0); v128.store(stand + row, s1); v128.store(stand + 2 * row, s2); v128.store(stand + 3 * row, s3);
}

/** One ball drawn into one tile. */
function intoTile(
  bx: f32, by: f32, r: f32, s: f32, beyond: f32, depth: usize, stand: usize, w: i32, tx0: i32, ty0: i32, tx1: i32,
  ty1: i32,
): void {
  const reach = r + beyond;
  const y0 = max(ty0, <i32>Mathf.floor(by - reach)), y1 = min(ty1, <i32>Mathf.floor(by + reach));
  const x0 = max(tx0, <i32>Mathf.floor(bx - reach)), x1 = min(tx1, <i32>Mathf.floor(bx + reach));
  const vr = f32x4.splat(r), vs = f32x4.splat(s), zero = f32x4.splat(0);
  for (let y = y0; y <= y1; y++) {
    const row = depth + (<usize>(y * w) << 2), other = stand + (<usize>(y * w) << 2);
    const dy = <f32>y + <f32>0.5 - by, dy2 = dy * dy, vd = f32x4.splat(dy2);
    let x = x0;
    for (; x + 3 <= x1; x += 4) {
      const p = <usize>x << 2;
      const dx = f32x4.add(f32x4.splat(<f32>x - bx), LANES);
      const d2 = f32x4.add(f32x4.mul(dx, dx), vd);
      const old = v128.load(row + p);
      // Deeper inside this ball than inside any before it? Most cells are not, and need no root.
      const room = f32x4.sub(vr, old);
      if (!v128.any_true(v128.and(f32x4.gt(room, zero), f32x4.lt(d2, f32x4.mul(room, room))))) continue;
      const inside = f32x4.sub(vr, f32x4.sqrt(d2));
      const deeper = f32x4.gt(inside, old);
      v128.store(row + p, v128.bitselect(inside, old, deeper));
      v128.store(other + p, v128.bitselect(vs, v128.load(other + p), deeper));
    }
    for (; x <= x1; x++) {
      const p = <usize>x << 2;
      const dx = <f32>x + <f32>0.5 - bx;
      const inside = r - Mathf.sqrt(dx * dx + dy2);
      if (inside > load<f32>(row + p)) { store<f32>(row + p, inside); store<f32>(other + p, s); }
    }
  }
}
