/**
 * Small windows followed from frame to frame for what stirs in them, and the affine motion of the set that is taken
 * out.
 */

/** Half a window's side without its middle, px; no window is followed further than this from its start. */
export const WIN = 6;

/**
 * Shift of the window at (x, y) of a to b starting from (dx, dy); null where it can't be had. `sd` from the residual.
 */
export function follow(
  a: Float32Array,
  b: Float32Array,
  w: number,
  h: number,
  x: number,
  y: number,
  dx0: number,
  dy0: number,
): { dx: number; dy: number; sd: number } | null {
  let gxx = 0;
  let gyy = 0;
  let gxy = 0;
  for (let v = -WIN; v <= WIN; v++)
    for (let u = -WIN; u <= WIN; u++) {
      const i = (y + v) * w + x + u;
      const gx = (a[i + 1]! - a[i - 1]!) / 2;
      const gy = (a[i + w]! - a[i - w]!) / 2;
      gxx += gx * gx;
      gyy += gy * gy;
      gxy += gx * gy;
    }
  const det = gxx * gyy - gxy * gxy;
  const least = (gxx + gyy - Math.hypot(gxx - gyy, 2 * gxy)) / 2;
  if (least < 0.01) return null;
  let dx = dx0;
  let dy = dy0;
  let ee = 0;
  for (let round = 0; round < 10; round++) {
    const px = x + dx;
    const py = y + dy;
    const ix = Math.floor(px);
    const iy = Math.floor(py);
    if (ix < WIN + 1 || iy < WIN + 1 || ix > w - WIN - 3 || iy > h - WIN - 3) return null;
    const fx = px - ix;
    const fy = py - iy;
    let sx = 0;
    let sy = 0;
    ee = 0;
    for (let v = -WIN; v <= WIN; v++)
      for (let u = -WIN; u <= WIN; u++) {
        const i = (y + v) * w + x + u;
        const j = (iy + v) * w + ix + u;
        const q = (b[j]! * (1 - fx) + b[j + 1]! * fx) * (1 - fy) + (b[j + w]! * (1 - fx) + b[j + w + 1]! * fx) * fy;
        const e = a[i]! - q;
        sx += (e * (a[i + 1]! - a[i - 1]!)) / 2;
        sy += (e * (a[i + w]! - a[i - w]!)) / 2;
        ee += e * e;
      }
    const ux = (sx * gyy - sy * gxy) / det;
    const uy = (sy * gxx - sx * gxy) / det;
    dx += ux;
    dy += uy;
    if (Math.hypot(ux, uy) < 0.01) break;
  }
  if (Math.hypot(dx - dx0, dy - dy0) > WIN) return null;
  const n = (2 * WIN + 1) ** 2;
  if (ee / n > 0.01) return null;
  return { dx, dy, sd: Math.sqrt(ee / n / least) };
}

/**
 * Robust affine fit (d = A p + t) of shifts at points by re-weighted least squares, `say` the
 * weight of each beside; returns six numbers or null.
 */
export function affineFit(
  points: readonly { x: number; y: number }[],
  shifts: readonly { dx: number; dy: number }[],
  say?: readonly number[],
): number[] | null {
  if (points.length < 4) return null;
  let model = [0, 0, 0, 0, 0, 0];
  let scale = Infinity;
  for (let round = 0; round < 6; round++) {
    const m = new Float64Array(9);
    const bx = new Float64Array(3);
    const by = new Float64Array(3);
    points.forEach((p, i) => {
      const ex = shifts[i]!.dx - model[0]! - model[1]! * p.x - model[2]! * p.y;
      const ey = shifts[i]!.dy - model[3]! - model[4]! * p.x - model[5]! * p.y;
      const r = Math.hypot(ex, ey);
      const wgt = (say?.[i] ?? 1) * (round === 0 ? 1 : 1 / (1 + (r / scale) ** 2));
      const q = [1, p.x, p.y];
      for (let a = 0; a < 3; a++) {
        for (let b = 0; b < 3; b++) m[3 * a + b]! += wgt * q[a]! * q[b]!;
        bx[a]! += wgt * q[a]! * shifts[i]!.dx;
        by[a]! += wgt * q[a]! * shifts[i]!.dy;
      }
    });
    const sx = solve3(m, bx);
    const sy = solve3(m, by);
    if (sx === null || sy === null) return null;
    model = [...sx, ...sy];
    const rs = points
      .map((p, i) =>
        Math.hypot(
          shifts[i]!.dx - model[0]! - model[1]! * p.x - model[2]! * p.y,
          shifts[i]!.dy - model[3]! - model[4]! * p.x - model[5]! * p.y,
        ),
      )
      .sort((p, q) => p - q);
    scale = Math.max(0.05, 1.5 * rs[rs.length >> 1]!);
  }
  return model;
}

function solve3(m: Float64Array, b: Float64Array): number[] | null {
  const d = (a: number, e: number, i: number, f: number, hh: number): number => a * (e * i - f * hh);
  const det =
    d(m[0]!, m[4]!, m[8]!, m[5]!, m[7]!) - d(m[1]!, m[3]!, m[8]!, m[5]!, m[6]!) + d(m[2]!, m[3]!, m[7]!, m[4]!, m[6]!);
  if (Math.abs(det) < 1e-9) return null;
  return [0, 1, 2].map((c) => {
    const n = Float64Array.from(m);
    for (let r = 0; r < 3; r++) n[3 * r + c] = b[r]!;
    return (
      (d(n[0]!, n[4]!, n[8]!, n[5]!, n[7]!) -
        d(n[1]!, n[3]!, n[8]!, n[5]!, n[6]!) +
        d(n[2]!, n[3]!, n[7]!, n[4]!, n[6]!)) /
      det
    );
  });
}
