/**
 * A picture whose four channels share one address.
 */
import type { Picture } from '../../image/picture.js';

/** RGBA interleaved, width × height × 4. */
export interface Interleaved {
  readonly width: number;
  readonly height: number;
  readonly data: Float32Array;
}

/** A planar RGBA picture with the four channels of a pixel side by side. */
export function interleave(p: Picture): Interleaved {
  const n = p.width * p.height;
  const out = new Float32Array(4 * n);
  const d = p.data;
  for (let i = 0, o = 0; i < n; i++, o += 4) {
    out[o] = d[i]!;
    out[o + 1] = d[n + i]!;
    out[o + 2] = d[2 * n + i]!;
    out[o + 3] = d[3 * n + i]!;
  }
  return { width: p.width, height: p.height, data: out };
}
