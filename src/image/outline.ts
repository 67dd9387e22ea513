/**
 * The outline of a mask as a polygon: the border between inside and outside pixels walked corner by
 * corner, then thinned to the corners that matter (D. Douglas & T. Peucker, Cartographica 10(2), 1973).
 * Points on pixel corners, the picture's own coordinates.
 */
export type Corner = readonly [number, number];

/**
 * Outer border of the region that holds the first inside pixel in reading order; empty for an
 * empty mask. Inside lies to the right of the walk.
 */
export function traceOutline(mask: ArrayLike<number>, width: number, height: number): Corner[] {
  const inside = (x: number, y: number): boolean =>
    x >= 0 && y >= 0 && x < width && y < height && mask[y * width + x]! > 0;
  let start = 0;
  while (start < width * height && !(mask[start]! > 0)) start++;
  if (start === width * height) return [];
  const x0 = start % width;
  const y0 = Math.floor(start / width);
  const out: Corner[] = [];
  let x = x0;
  let y = y0;
  let dx = 1;
  let dy = 0;
  // From the pixel's upper left corner along its upper side; at each corner as far left as the border allows
  // (8-neighbours join).
  do {
    out.push([x, y]);
    x += dx;
    y += dy;
    const ahead = (ax: number, ay: number): boolean =>
      inside(x + (ax > 0 || (ax === 0 && ay < 0) ? 0 : -1), y + (ay > 0 || (ay === 0 && ax > 0) ? 0 : -1));
    for (const [tx, ty] of [
      [dy, -dx],
      [dx, dy],
      [-dy, dx],
      [-dx, -dy],
    ] as const) {
      // A side may be walked when inside lies to its right and outside to its left.
      const right = ahead(tx, ty);
      const left = inside(x + (tx > 0 || (tx === 0 && ty > 0) ? 0 : -1), y + (ty > 0 || (ty === 0 && tx < 0) ? 0 : -1));
      if (right && !left) {
        dx = tx;
        dy = ty;
        break;
      }
    }
  } while ((x !== x0 || y !== y0) && out.length < 4 * width * height);
  return out;
}

/** Corners of a closed polygon that lie farther than `tolerance` from the line between those kept. */
export function thinPolygon(points: readonly Corner[], tolerance: number): Corner[] {
  if (points.length < 4) return [...points];
  // Two far corners to begin with: the first, and the one farthest from it.
  let far = 0;
  let most = -1;
  points.forEach((p, i) => {
    const d = Math.hypot(p[0] - points[0]![0], p[1] - points[0]![1]);
    if (d > most) {
      most = d;
      far = i;
    }
  });
  const half = (a: number, b: number): Corner[] => {
    const p = points[a % points.length]!;
    const q = points[b % points.length]!;
    const l = Math.hypot(q[0] - p[0], q[1] - p[1]);
    let worst = tolerance;
    let at = -1;
    for (let i = a + 1; i < b; i++) {
      const r = points[i % points.length]!;
      const d =
        l < 1e-9
          ? Math.hypot(r[0] - p[0], r[1] - p[1])
          : Math.abs((q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])) / l;
      if (d > worst) {
        worst = d;
        at = i;
      }
    }
    return at < 0 ? [p] : [...half(a, at), ...half(at, b)];
  };
  return [...half(0, far), ...half(far, points.length)];
}

/** Convex hull (A. Andrew, Information Processing Letters 9(5), 1979), in walking order. */
export function convexHull(points: readonly Corner[]): Corner[] {
  const p = [...points].sort((a, b) => a[0] - b[0] || a[1] - b[1]);
  const chain = (list: readonly Corner[]): Corner[] => {
    const out: Corner[] = [];
    for (const q of list) {
      while (
        out.length >= 2 &&
        (out[out.length - 1]![0] - out[out.length - 2]![0]) * (q[1] - out[out.length - 2]![1]) -
          (out[out.length - 1]![1] - out[out.length - 2]![1]) * (q[0] - out[out.length - 2]![0]) <=
          0
      )
        out.pop();
      out.push(q);
    }
    out.pop();
    return out;
  };
  return p.length < 3 ? p : [...chain(p), ...chain([...p].reverse())];
}
