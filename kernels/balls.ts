// A body of balls drawn on a grid (see src/join/body-volume.ts, shadow-map.ts). Balls are float triples or quadruples in cells
// of the grid. Items are rows. Twins: ballsFrontPlain, ballsDepthPlain.

const LANES = f32x4(0.5, 1.5, 2.5, 3.5);

/** Square of the front surface's height: the most of r² − dx² − dy² over the balls (x, y, r), 0 where none reaches. */
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
  }
}

/**
 * How deep a cell lies inside the ball (x, y, r, stand) that it lies deepest in, negative outside, and that ball's stand. Cells
 * farther than `beyond` from every ball keep −1e9 and 0. Of two as deep the first counts.
 */
export function ballsDepth(balls: usize, count: i32, beyond: f32, depth: usize, stand: usize, w: i32, h: i32, from: i32, to: i32, scratch: usize): void {
  for (let y = from; y < to; y++) {
    const row = depth + (<usize>(y * w) << 2), other = stand + (<usize>(y * w) << 2);
    for (let x = 0; x < w; x++) store<f32>(row + (<usize>x << 2), -1e9);
    memory.fill(other, 0, <usize>w << 2);
    for (let k = 0; k < count; k++) {
      const b = balls + (<usize>k << 4);
      const bx = load<f32>(b), by = load<f32>(b, 4), r = load<f32>(b, 8), s = load<f32>(b, 12);
      const reach = r + beyond;
      if (y < <i32>Mathf.floor(by - reach) || y > <i32>Mathf.floor(by + reach)) continue;
      const dy = <f32>y + <f32>0.5 - by, dy2 = dy * dy;
      const x1 = min(w - 1, <i32>Mathf.floor(bx + reach));
      let x = max(0, <i32>Mathf.floor(bx - reach));
      const vr = f32x4.splat(r), vd = f32x4.splat(dy2), vs = f32x4.splat(s);
      for (; x + 3 <= x1; x += 4) {
        const p = <usize>x << 2;
        const dx = f32x4.add(f32x4.splat(<f32>x - bx), LANES);
        const d2 = f32x4.add(f32x4.mul(dx, dx), vd);
        const old = v128.load(row + p);
        // Deeper inside this ball than inside any before it? Most cells are not, and need no root.
        const room = f32x4.sub(vr, old);
        if (!v128.any_true(v128.and(f32x4.gt(room, f32x4.splat(0)), f32x4.lt(d2, f32x4.mul(room, room))))) continue;
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
}
