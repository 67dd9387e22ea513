/** What the inspection looks at on one frame: join and plate display-coded, the performer's matte, and where it is. */
import type { Picture } from '../image/picture.js';

export interface SeenFrame {
  readonly frame: number;
  /** Display-coded R'G'B', whole frame. */
  readonly join: Picture;
  readonly plate: Picture;
  /** Performer as seen, 0..1, whole frame. */
  readonly matte: Float32Array;
  /** Box of the matte, x0, y0 inclusive, x1, y1 exclusive; null where the performer is not seen. */
  readonly box: readonly [number, number, number, number] | null;
}

export function matteBox(matte: Float32Array, width: number, height: number): [number, number, number, number] | null {
  let x0 = width, y0 = height, x1 = 0, y1 = 0;
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      if (matte[y * width + x]! < 0.1) continue;
      if (x < x0) x0 = x;
      if (x >= x1) x1 = x + 1;
      if (y < y0) y0 = y;
      y1 = y + 1;
    }
  }
  return x1 > x0 && (x1 - x0) * (y1 - y0) >= 64 ? [x0, y0, x1, y1] : null;
}

/** Box grown on all sides, cut at the picture. */
export function grow(box: readonly [number, number, number, number], dx: number, dy: number, width: number, height: number): [number, number, number, number] {
  return [Math.max(0, Math.floor(box[0] - dx)), Math.max(0, Math.floor(box[1] - dy)), Math.min(width, Math.ceil(box[2] + dx)), Math.min(height, Math.ceil(box[3] + dy))];
}

export function lumaAt(p: Picture, i: number): number {
  const n = p.width * p.height;
  return 0.2126 * p.data[i]! + 0.7152 * p.data[n + i]! + 0.0722 * p.data[2 * n + i]!;
}

export function quantile(values: readonly number[] | Float32Array, q: number): number {
  if (values.length === 0) return NaN;
  const s = Float64Array.from(values).sort();
  const k = q * (s.length - 1), i = Math.floor(k);
  return s[i]! + (s[Math.min(s.length - 1, i + 1)]! - s[i]!) * (k - i);
}
