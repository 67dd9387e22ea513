// A body of balls drawn on a grid (see src/join/ball-grids.ts). Balls are float triples or quadruples in cells of the grid.
// Twins: ballsFrontPlain, ballsDepthPlain.

const LANES = f32x4(0.5, 1.5, 2.5, 3.5);

/** Height of the front surface: the root of the most of r² − dx² − dy² over the balls (x, y, r), 0 where none reaches, times `scale`, less `tilt` · x + `from0`. Items are rows. */
export function ballsFront(balls: usize, count: i32, dst: usize, w: i32, h: i32, scale: f32, tilt: f32, from0: f32, from: i32, to: i32, scratch: usize): void {
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
    for (; x < w; x++) store<f32>(row + (<usize>x << 2), Mathf.sqrt(load<f32>(row + (<usize>x << 2))) * scale - (<f32>x * tilt + from0));
  }
}

/** Side of a tile in cells. */
const TILE: i32 = 8;
/** From a tile's middle to its farthest cell, and a little for rounding. */
const HALF: f32 = 4.96;

/**
 * How deep a cell lies inside the ball that it lies deepest in, negative outside, and that ball's stand. Cells farther than
 * `beyond` (across or down) from every ball keep −1e9 and 0. Of two as deep the first counts. xs, ys, rs, stands: planes of
 * `count` values, padded to a multiple of four with radii of −1e9. Items are rows of tiles; scratch 4 (count + 4) bytes.
 *
 * Depth changes by no more than the way from cell to cell. So with D at a tile's middle no cell of it is less deep than D − HALF,
 * and a ball in which the middle lies by 2 HALF less deep has no part in it: most are passed by for the whole tile.
 */
export function ballsDepth(xs: usize, ys: usize, rs: usize, stands: usize, count: i32, beyond: f32, depth: usize, stand: usize, w: i32, h: i32, from: i32, to: i32, scratch: usize): void {
  for (let tile = from; tile < to; tile++) {
    const y0 = tile * TILE, y1 = min(h, y0 + TILE) - 1;
    for (let y = y0; y <= y1; y++) {
      const row = depth + (<usize>(y * w) << 2);
      for (let x = 0; x < w; x++) store<f32>(row + (<usize>x << 2), -1e9);
      memory.fill(stand + (<usize>(y * w) << 2), 0, <usize>w << 2);
    }
    const my = f32x4.splat(<f32>y0 + <f32>4);
    for (let x0 = 0; x0 < w; x0 += TILE) {
      const x1 = min(w, x0 + TILE) - 1;
      const mx = f32x4.splat(<f32>x0 + <f32>4);
      let deepest = f32x4.splat(-1e9);
      for (let k = 0; k < count; k += 4) {
        const p = <usize>k << 2;
        const dx = f32x4.sub(v128.load(xs + p), mx), dy = f32x4.sub(v128.load(ys + p), my);
        const v = f32x4.sub(v128.load(rs + p), f32x4.sqrt(f32x4.add(f32x4.mul(dx, dx), f32x4.mul(dy, dy))));
        v128.store(scratch + p, v);
        deepest = f32x4.pmax(deepest, v);
      }
      const most = Mathf.max(Mathf.max(f32x4.extract_lane(deepest, 0), f32x4.extract_lane(deepest, 1)), Mathf.max(f32x4.extract_lane(deepest, 2), f32x4.extract_lane(deepest, 3)));
      // A ball that is that deep reaches every cell of the tile only if its border is not too near.
      const whole = most - HALF >= -beyond;
      const least = f32x4.splat(whole ? most - <f32>2 * HALF : -1e8), reach = f32x4.splat(beyond + <f32>5.5);
      for (let k = 0; k < count; k += 4) {
        const p = <usize>k << 2;
        let near = f32x4.gt(v128.load(scratch + p), least);
        if (!v128.any_true(near)) continue;
        if (!whole) {
          const r = f32x4.add(v128.load(rs + p), reach);
          near = v128.and(f32x4.lt(f32x4.abs(f32x4.sub(v128.load(xs + p), mx)), r), f32x4.lt(f32x4.abs(f32x4.sub(v128.load(ys + p), my)), r));
        }
        const m = i32x4.bitmask(near);
        if (m == 0) continue;
        for (let j = 0; j < 4; j++) if ((m & (1 << j)) != 0) intoTile(load<f32>(xs + p + (<usize>j << 2)), load<f32>(ys + p + (<usize>j << 2)), load<f32>(rs + p + (<usize>j << 2)), load<f32>(stands + p + (<usize>j << 2)), beyond, depth, stand, w, x0, y0, x1, y1);
      }
    }
  }
}

/** One ball drawn into one tile. */
function intoTile(bx: f32, by: f32, r: f32, s: f32, beyond: f32, depth: usize, stand: usize, w: i32, tx0: i32, ty0: i32, tx1: i32, ty1: i32): void {
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
