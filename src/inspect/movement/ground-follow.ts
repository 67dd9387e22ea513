/**
 * The plate's ground about a point followed from frame to frame (Lucas & Kanade, IJCAI 1981; translation, five steps,
 * on a smoothed patch), to hold the planned foot against. Display-coded luma planes, height × width.
 */
import { gaussianPlane } from '../../image/gaussian.js';
import { sampleBilinear } from '../../image/sampling.js';

/**
 * Displacement of the patch about (x, y) on `before` to `now`, near the guess. Null where it shows too little
 * structure, runs out of the picture, or does not come back to the same look (something passed before it).
 */
export function followPatch(
  before: Float32Array,
  now: Float32Array,
  width: number,
  height: number,
  at: readonly [number, number],
  half: number,
  guess: readonly [number, number],
): [number, number] | null {
  const x0 = Math.floor(at[0] - half),
    y0 = Math.floor(at[1] - half),
    s = 2 * Math.round(half);
  if (x0 < 4 || y0 < 4 || x0 + s > width - 4 || y0 + s > height - 4 || s < 12) return null;
  const cut = (src: Float32Array, dx: number, dy: number): Float32Array => {
    const out = new Float32Array(s * s);
    for (let y = 0; y < s; y++)
      for (let x = 0; x < s; x++)
        out[y * s + x] = sampleBilinear(src, width, height, x0 + x + 0.5 + dx, y0 + y + 0.5 + dy);
    return gaussianPlane(out, s, s, 1);
  };
  const ref = cut(before, 0, 0);
  let xx = 0,
    xy = 0,
    yy = 0;
  const gx = new Float32Array(s * s),
    gy = new Float32Array(s * s);
  for (let y = 2; y < s - 2; y++) {
    for (let x = 2; x < s - 2; x++) {
      const i = y * s + x;
      const a = (ref[i + 1]! - ref[i - 1]!) / 2,
        b = (ref[i + s]! - ref[i - s]!) / 2;
      gx[i] = a;
      gy[i] = b;
      xx += a * a;
      xy += a * b;
      yy += b * b;
    }
  }
  const det = xx * yy - xy * xy;
  const small = (xx + yy - Math.sqrt((xx - yy) ** 2 + 4 * xy * xy)) / 2;
  // Weakest slope against a hundredth of the range over the patch: below it grain decides.
  if (!(small > 2e-5 * s * s) || !(det > 0)) return null;
  let dx = guess[0],
    dy = guess[1],
    left = 0;
  for (let k = 0; k < 6; k++) {
    const cur = cut(now, dx, dy);
    let mean = 0;
    for (let i = 0; i < s * s; i++) mean += cur[i]! - ref[i]!;
    mean /= s * s;
    let bx = 0,
      by = 0;
    left = 0;
    for (let y = 2; y < s - 2; y++)
      for (let x = 2; x < s - 2; x++) {
        const i = y * s + x,
          d = cur[i]! - ref[i]! - mean;
        bx += gx[i]! * d;
        by += gy[i]! * d;
        left += d * d;
      }
    const mx = (yy * bx - xy * by) / det,
      my = (xx * by - xy * bx) / det;
    dx -= mx;
    dy -= my;
    if (Math.hypot(mx, my) < 0.01) break;
  }
  if (Math.hypot(dx - guess[0], dy - guess[1]) > 4 || Math.sqrt(left / (s * s)) > 0.03) return null;
  return [dx, dy];
}
