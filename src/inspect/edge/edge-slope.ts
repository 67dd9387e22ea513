/**
 * How hard the performer's outline is. Two things can be wrong. The picture's outline beside its matte: coverage seen
 * in the picture where the matte covers little, over that where it covers much, each in parts of the matte's. Shading
 * scales both alike and falls out: a mixture reads from 1 up (a coat gets darker towards its outline by itself), one
 * that was cut hard shows nothing where little is covered, 0. And the matte's own rim: alpha times what it leaves, over
 * the length of the outline by the matte's slopes, px; of an edge spread by a Gaussian of sd s .56 s, of one that ends
 * at a pixel's border 0.
 */
import { grow, type SeenFrame } from '../reader/frame.js';

/** Rim of a matte in px; null where no outline is seen. */
export function rimWidth(
  matte: Float32Array,
  width: number,
  height: number,
  box: readonly [number, number, number, number],
): number | null {
  const [x0, y0, x1, y1] = grow(box, 3, 3, width, height);
  let half = 0,
    slope = 0;
  for (let y = Math.max(1, y0); y < Math.min(height - 1, y1); y++)
    for (let x = Math.max(1, x0); x < Math.min(width - 1, x1); x++) {
      const i = y * width + x,
        a = matte[i]!;
      half += a * (1 - a);
      slope += Math.hypot(matte[i + 1]! - matte[i - 1]!, matte[i + width]! - matte[i - width]!) / 2;
    }
  return slope < 40 ? null : half / slope;
}

/**
 * Coverage seen in the outer part of the outline over that of its inner part, both in parts of the matte's; null where
 * too little of it has contrast.
 */
export function seenHardness(f: SeenFrame): number | null {
  if (f.box === null) return null;
  const { width: W, height: H } = f.join,
    N = W * H,
    [x0, y0, x1, y1] = grow(f.box, 3, 3, W, H);
  let used = 0;
  const low = [0, 0, 0],
    high = [0, 0, 0];
  for (let y = Math.max(4, y0); y < Math.min(H - 4, y1); y++)
    for (let x = Math.max(4, x0); x < Math.min(W - 4, x1); x++) {
      const i = y * W + x,
        a = f.matte[i]!;
      const half = a > 0.08 && a < 0.4 ? low : a > 0.6 && a < 0.92 ? high : null;
      if (half === null) continue;
      const gx = (f.matte[i + 1]! - f.matte[i - 1]!) / 2,
        gy = (f.matte[i + W]! - f.matte[i - W]!) / 2,
        l = Math.hypot(gx, gy);
      if (l < 0.05) continue;
      const q = Math.round(y + (3 * gy) / l) * W + Math.round(x + (3 * gx) / l);
      if (f.matte[q]! < 0.9) continue;
      let num = 0,
        den = 0;
      for (let c = 0; c < 3; c++) {
        const b = f.plate.data[c * N + i]!,
          d = f.join.data[c * N + q]! - b;
        num += (f.join.data[c * N + i]! - b) * d;
        den += d * d;
      }
      if (den < 0.02) continue;
      const seen = Math.min(1.3, Math.max(-0.3, num / den));
      half[0] = half[0]! + den;
      half[1] = half[1]! + den * a;
      half[2] = half[2]! + den * seen;
      used++;
    }
  if (used < 60 || high[2]! <= 0.05 * high[1]! || low[0]! <= 0) return null;
  return low[2]! / low[1]! / (high[2]! / high[1]!);
}
