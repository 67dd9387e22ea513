// A body from its outline (see src/join/body/body-volume.ts, shadow-map.ts): cells of a matte, how far each lies from
// the outline, the balls of the medial axis, and what a shadow map keeps of them. Twins: matteCellsPlain,
// nearestInSet, ballsOfCellsPlain, coverAndStandPlain.

const FAR: i32 = 1 << 28;

/**
 * outside (w × h bytes): 0 where more than half of a cell of step × step pixels is covered, the first cell one step
 * before (bx, by); beyond the picture its edge repeats. Items are rows; scratch 8 w bytes.
 */
export function matteCells(
  alpha: usize, width: i32, height: i32, bx: i32, by: i32, step: i32, outside: usize, w: i32, from: i32, to: i32,
  scratch: usize,
): void {
  const half = 0.5 * <f64>step * <f64>step;
  for (let gy = from; gy < to; gy++) {
    memory.fill(scratch, 0, <usize>w << 3);
    const end = by + gy * step;
    for (let y = end - step; y < end; y++) {
      const row = alpha + (<usize>(max(0, min(height - 1, y)) * width) << 2);
      let x = bx - step;
      for (let gx = 0; gx < w; gx++) {
        let sum: f64 = 0;
        const stop = x + step;
        if (x >= 0 && stop <= width) for (; x < stop; x++) sum += <f64>load<f32>(row + (<usize>x << 2));
        else for (; x < stop; x++) sum += <f64>load<f32>(row + (<usize>max(0, min(width - 1, x)) << 2));
        const p = scratch + (<usize>gx << 3);
        store<f64>(p, load<f64>(p) + sum);
      }
    }
    for (let gx = 0; gx < w; gx++)
      store<u8>(outside + <usize>(gy * w + gx), load<f64>(scratch + (<usize>gx << 3)) > half ? 0 : 1);
  }
}

/**
 * Distance of each cell to the nearest set one, exactly: rows of nearest ones in the column, then
 * the least sum of squares along the row, sought outwards until the way alone is longer. 1e10
 * where none is set. One item; scratch 4 w h bytes.
 */
export function cellDistance(set: usize, w: i32, h: i32, distance: usize, from: i32, to: i32, scratch: usize): void {
  for (let x = 0; x < w; x++) {
    let d = FAR;
    for (let y = 0; y < h; y++) {
      d = load<u8>(set + <usize>(y * w + x)) != 0 ? 0 : min(FAR, d + 1);
      store<i32>(scratch + (<usize>(y * w + x) << 2), d);
    }
    d = FAR;
    for (let y = h - 1; y >= 0; y--) {
      const p = scratch + (<usize>(y * w + x) << 2);
      d = min(load<i32>(p), min(FAR, d + 1));
      store<i32>(p, d >= FAR ? FAR : d * d);
    }
  }
  for (let y = 0; y < h; y++) {
    const row = scratch + (<usize>(y * w) << 2);
    for (let x = 0; x < w; x++) {
      let best = load<i32>(row + (<usize>x << 2));
      for (let k = 1; k * k < best && (x - k >= 0 || x + k < w); k++) {
        if (x - k >= 0) best = min(best, load<i32>(row + (<usize>(x - k) << 2)) + k * k);
        if (x + k < w) best = min(best, load<i32>(row + (<usize>(x + k) << 2)) + k * k);
      }
      store<f32>(distance + (<usize>(y * w + x) << 2), best >= FAR ? <f32>1e10 : <f32>Math.sqrt(<f64>best));
    }
  }
}

/**
 * Cells whose ball no neighbour's ball holds: column, row and radius (in cells, doubles) go to `list`, how many to
 * `found`. about: count neighbours as doubles (dx, dy, way), nearest first. One item.
 */
export function cellBalls(
  outside: usize, distance: usize, w: i32, h: i32, about: usize, count: i32, list: usize, found: usize, from: i32,
  to: i32, scratch: usize,
): void {
  const most = <f64>(w + h);
  let n = 0;
  for (let y = 0; y < h; y++) {
    for (let x = 0; x < w; x++) {
      const i = y * w + x;
      if (load<u8>(outside + <usize>i) == 1) continue;
      // The outline lies half a cell nearer than the centre of the first cell outside.
      const r = Math.min(<f64>load<f32>(distance + (<usize>i << 2)), most) - 0.5;
      if (r < 0.5) continue;
      let covered = false;
      for (let k = 0; k < count && !covered; k++) {
        const a = about + <usize>k * 24;
        const u = x + <i32>load<f64>(a), v = y + <i32>load<f64>(a, 8);
        covered = u >= 0 && v >= 0 && u < w && v < h
          && <f64>load<f32>(distance + (<usize>(v * w + u) << 2)) - 0.5 - load<f64>(a, 16) > r - 0.15;
      }
      if (covered) continue;
      const p = list + <usize>n * 24;
      store<f64>(p, <f64>x);
      store<f64>(p, <f64>y, 8);
      store<f64>(p, r, 16);
      n++;
    }
  }
  store<i32>(found, n);
}

/**
 * What a shadow map keeps of the depth inside its balls (w × h; −1e9 far from all, changed here) and their stand:
 * cover, soft over one cell; and both carried outwards by sweeps along rows and columns, forth and back. One item.
 */
export function coverAndStand(
  depth: usize, stand: usize, cover: usize, w: i32, h: i32, from: i32, to: i32, scratch: usize,
): void {
  const n = w * h, zero = f32x4.splat(0), one = f32x4.splat(1), half = f32x4.splat(0.5), far = f32x4.splat(-1e8);
  let i = 0;
  for (; i + 4 <= n; i += 4)
    v128.store(
      cover + (<usize>i << 2),
      f32x4.pmin(one, f32x4.pmax(zero, f32x4.add(v128.load(depth + (<usize>i << 2)), half))),
    );
  for (; i < n; i++)
    store<f32>(cover + (<usize>i << 2), Mathf.min(1, Mathf.max(0, load<f32>(depth + (<usize>i << 2)) + <f32>0.5)));
  for (let y = 0; y < h; y++) {
    const d = depth + (<usize>(y * w) << 2), s = stand + (<usize>(y * w) << 2);
    for (let x = 1; x < w; x++) {
      const p = <usize>x << 2;
      if (load<f32>(d + p) < <f32>-1e8 && load<f32>(d + p - 4) > <f32>-1e8) {
        store<f32>(d + p, load<f32>(d + p - 4));
        store<f32>(s + p, load<f32>(s + p - 4));
      }
    }
    for (let x = w - 2; x >= 0; x--) {
      const p = <usize>x << 2;
      if (load<f32>(d + p) < <f32>-1e8 && load<f32>(d + p + 4) > <f32>-1e8) {
        store<f32>(d + p, load<f32>(d + p + 4));
        store<f32>(s + p, load<f32>(s + p + 4));
      }
    }
  }
  for (let y = 1; y < h; y++) carryRow(depth, stand, w, y, y - 1, far);
  for (let y = h - 2; y >= 0; y--) carryRow(depth, stand, w, y, y + 1, far);
}

// @ts-ignore: decorator
@inline
function carryRow(depth: usize, stand: usize, w: i32, y: i32, other: i32, far: v128): void {
  const d = depth + (<usize>(y * w) << 2), s = stand + (<usize>(y * w) << 2);
  const e = depth + (<usize>(other * w) << 2), t = stand + (<usize>(other * w) << 2);
  let x = 0;
  for (; x + 4 <= w; x += 4) {
    const p = <usize>x << 2;
    const own = v128.load(d + p), there = v128.load(e + p);
    const take = v128.and(f32x4.lt(own, far), f32x4.gt(there, far));
    v128.store(d + p, v128.bitselect(there, own, take));
    v128.store(s + p, v128.bitselect(v128.load(t + p), v128.load(s + p), take));
  }
  for (; x < w; x++) {
    const p = <usize>x << 2;
    if (load<f32>(d + p) < <f32>-1e8 && load<f32>(e + p) > <f32>-1e8) {
      store<f32>(d + p, load<f32>(e + p));
      store<f32>(s + p, load<f32>(t + p));
    }
  }
}
