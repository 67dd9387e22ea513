/** Luma of display-coded R'G'B' (Rec. ITU-R BT.709, luma coefficients). */
import type { Picture } from '../../image/picture.js';

/** Luma of a picture of three planes or more, height × width. */
export function codedLuma(p: Picture): Float32Array {
  const n = p.width * p.height;
  const out = new Float32Array(n);
  for (let i = 0; i < n; i++) out[i] = 0.2126 * p.data[i]! + 0.7152 * p.data[n + i]! + 0.0722 * p.data[2 * n + i]!;
  return out;
}
