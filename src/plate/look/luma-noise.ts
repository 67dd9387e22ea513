/**
 * Noise of a picture inside an ellipse: the 3 × 3 mask that is blind to planes (J. Immerkær, *Fast Noise Variance
 * Estimation*, Computer Vision and Image Understanding 64, 1996), by the median of its absolute answers, so that edges
 * do not count; texture finer than three pixels does, which for shading is noise as well.
 */
import type { Picture } from '../../image/picture.js';

/** Rec.709 weights of luminance. */
const R = 0.2126;
const G = 0.7152;
const B = 0.0722;

/**
 * Standard deviation of one pixel's linear luminance inside four fifths of the ellipse [cx, cy, rx,
 * ry, deg]; 0 where nothing of it is in the picture.
 */
export function lumaNoise(p: Picture, ellipse: readonly [number, number, number, number, number]): number {
  const [cx, cy, rx, ry, deg] = ellipse;
  const w = p.width;
  const n = w * p.height;
  const ca = Math.cos((deg * Math.PI) / 180);
  const sa = Math.sin((deg * Math.PI) / 180);
  const big = 0.8 * Math.max(rx, ry);
  const y = (i: number): number => R * p.data[i]! + G * p.data[n + i]! + B * p.data[2 * n + i]!;
  const found: number[] = [];
  // At most some ten thousand answers, spread evenly.
  const stride = Math.max(1, Math.floor(Math.sqrt((Math.PI * rx * ry) / 10000)));
  for (let v = Math.max(1, Math.floor(cy - big)); v < Math.min(p.height - 1, cy + big); v += stride)
    for (let u = Math.max(1, Math.floor(cx - big)); u < Math.min(w - 1, cx + big); u += stride) {
      const dx = u + 0.5 - cx;
      const dy = v + 0.5 - cy;
      if (((dx * ca + dy * sa) / rx) ** 2 + ((dy * ca - dx * sa) / ry) ** 2 > 0.64) continue;
      const i = v * w + u;
      found.push(
        Math.abs(
          y(i - w - 1) +
            y(i - w + 1) +
            y(i + w - 1) +
            y(i + w + 1) -
            2 * (y(i - w) + y(i + w) + y(i - 1) + y(i + 1)) +
            4 * y(i),
        ) / 6,
      );
    }
  if (found.length === 0) return 0;
  // Median of absolute normal errors to sd.
  return 1.4826 * found.sort((a, b) => a - b)[found.length >> 1]!;
}
