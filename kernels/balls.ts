// A body of balls drawn on a grid (see src/join/ball-grids.ts). Balls are float triples or quadruples in cells of the grid.
// Twins: ballsFrontPlain, ballsDepthPlain.

const LANES = f32x4(0.5, 1.5, 2.5, 3.5);

/** Height of the front surface: the root of the most of r² − dx² − dy² over the balls (x, y, r), 0 where none reaches. Items are rows. */
export function ballsFront(balls: usize, count: i32, dst: usize, w: i32, h: i32, from: i32, to: i32, scratch: usize): void {
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
    for (; x + 4 <= w; x += 4) v128.store(row + (<usize>x << 2), f32x4.sqrt(v128.load(row + (<usize>x << 2))));
    for (; x < w; x++) store<f32>(row + (<usize>x << 2), Mathf.sqrt(load<f32>(row + (<usize>x << 2))));
  }
}

/** Cells of a tile: rows and columns. What no cell of it can gain from is passed by whole. */
const TILE_ROWS: i32 = 8;
const TILE_COLUMNS: i32 = 16;

/**
 * How deep a cell lies inside the ball that it lies deepest in, negative outside, and that ball's stand. Cells farther than
 * `beyond` (across or down) from every ball keep −1e9 and 0. Of two as deep the first counts. xs, ys, rs, stands: planes of
 * `count` values, padded to a multiple of four with radii of −1e9. Items are rows of tiles.
 */
export function ballsDepth(xs: usize, ys: usize, rs: usize, stands: usize, count: i32, beyond: f32, depth: usize, stand: usize, w: i32, h: i32, from: i32, to: i32, scratch: usize): void {
  const zero = f32x4.splat(0), reach = f32x4.splat(beyond);
  for (let tile = from; tile < to; tile++) {
    const ty0 = tile * TILE_ROWS, ty1 = min(h, ty0 + TILE_ROWS) - 1;
    for (let y = ty0; y <= ty1; y++) {
      const row = depth + (<usize>(y * w) << 2);
      for (let x = 0; x < w; x++) store<f32>(row + (<usize>x << 2), -1e9);
      memory.fill(stand + (<usize>(y * w) << 2), 0, <usize>w << 2);
    }
    const top = f32x4.splat(<f32>ty0 + <f32>0.5), bottom = f32x4.splat(<f32>ty1 + <f32>0.5);
    for (let tx0 = 0; tx0 < w; tx0 += TILE_COLUMNS) {
      const tx1 = min(w, tx0 + TILE_COLUMNS) - 1;
      const left = f32x4.splat(<f32>tx0 + <f32>0.5), right = f32x4.splat(<f32>tx1 + <f32>0.5);
      let least: f32 = -1e9;
      for (let k = 0; k < count; k += 4) {
        const p = <usize>k << 2;
        const bx = v128.load(xs + p), by = v128.load(ys + p), r = v128.load(rs + p);
        // How far the ball's middle lies from the nearest cell of the tile; a little is granted for rounding.
        const ax = f32x4.pmax(zero, f32x4.pmax(f32x4.sub(left, bx), f32x4.sub(bx, right))), ay = f32x4.pmax(zero, f32x4.pmax(f32x4.sub(top, by), f32x4.sub(by, bottom)));
        const room = f32x4.add(f32x4.sub(r, f32x4.splat(least)), f32x4.splat(0.01)), far = f32x4.add(f32x4.add(r, reach), f32x4.splat(1.5));
        const near = v128.and(f32x4.lt(f32x4.pmax(ax, ay), far), v128.and(f32x4.gt(room, zero), f32x4.lt(f32x4.add(f32x4.mul(ax, ax), f32x4.mul(ay, ay)), f32x4.mul(room, room))));
        const m = i32x4.bitmask(near);
        if (m == 0) continue;
        for (let j = 0; j < 4; j++) if ((m & (1 << j)) != 0) least = intoTile(load<f32>(xs + p + (<usize>j << 2)), load<f32>(ys + p + (<usize>j << 2)), load<f32>(rs + p + (<usize>j << 2)), load<f32>(stands + p + (<usize>j << 2)), beyond, depth, stand, w, tx0, ty0, tx1, ty1, least);
      }
    }
  }
}

/** One ball drawn into one tile. @returns the least depth of the tile's cells after it, or `least` where that is not known to have grown */
function intoTile(bx: f32, by: f32, r: f32, s: f32, beyond: f32, depth: usize, stand: usize, w: i32, tx0: i32, ty0: i32, tx1: i32, ty1: i32, least: f32): f32 {
  const reach = r + beyond;
  const y0 = max(ty0, <i32>Mathf.floor(by - reach)), y1 = min(ty1, <i32>Mathf.floor(by + reach));
  const x0 = max(tx0, <i32>Mathf.floor(bx - reach)), x1 = min(tx1, <i32>Mathf.floor(bx + reach));
  const vr = f32x4.splat(r), vs = f32x4.splat(s);
  let lowest = f32x4.splat(1e9);
  for (let y = y0; y <= y1; y++) {
    const row = depth + (<usize>(y * w) << 2), other = stand + (<usize>(y * w) << 2);
    const dy = <f32>y + <f32>0.5 - by, dy2 = dy * dy, vd = f32x4.splat(dy2);
    let x = x0;
    for (; x + 3 <= x1; x += 4) {
      const p = <usize>x << 2;
      const dx = f32x4.add(f32x4.splat(<f32>x - bx), LANES);
      const inside = f32x4.sub(vr, f32x4.sqrt(f32x4.add(f32x4.mul(dx, dx), vd)));
      const old = v128.load(row + p);
      const deeper = f32x4.gt(inside, old);
      const now = v128.bitselect(inside, old, deeper);
      v128.store(row + p, now);
      v128.store(other + p, v128.bitselect(vs, v128.load(other + p), deeper));
      lowest = f32x4.pmin(lowest, now);
    }
    for (; x <= x1; x++) {
      const p = <usize>x << 2;
      const dx = <f32>x + <f32>0.5 - bx;
      const inside = r - Mathf.sqrt(dx * dx + dy2);
      if (inside > load<f32>(row + p)) { store<f32>(row + p, inside); store<f32>(other + p, s); }
      lowest = f32x4.pmin(lowest, f32x4.splat(load<f32>(row + p)));
    }
  }
  // Only a ball that reaches over the whole tile has looked at every cell.
  if (y0 > ty0 || y1 < ty1 || x0 > tx0 || x1 < tx1) return least;
  return Mathf.min(Mathf.min(f32x4.extract_lane(lowest, 0), f32x4.extract_lane(lowest, 1)), Mathf.min(f32x4.extract_lane(lowest, 2), f32x4.extract_lane(lowest, 3)));
}
