/** Which levels of the halving pyramid a warp's footprint asks for, and where they lie in the kernels' memory. */
import type { KernelDoor, KernelScope } from './kernels.js';
import type { Picture } from './picture.js';
import { halfSize } from './pyramid.js';

/** From this minification on samples read a coarser level. */
export const LEVEL_FROM = 4;
/** The Jacobian is taken once for so many pixels of a row. */
export const FOOTPRINT_STEP = 16;

/** As the kernel computes it: Math.hypot rounds differently, and a grid size could differ by one. */
export function length2(a: number, b: number): number {
  return Math.sqrt(a * a + b * b);
}

/** How many pyramid levels the coarsest footprint of this map can ask for (the kernel picks among them). */
export function levelsNeeded(m: Float64Array, src: Picture, outWidth: number, outHeight: number): number {
  let most = 1;
  for (let y = 0.5; y < outHeight; y += 1) {
    for (let x0 = 0; x0 < outWidth; x0 += FOOTPRINT_STEP) {
      const cx = 0.5 * (x0 + Math.min(outWidth, x0 + FOOTPRINT_STEP));
      const w = m[6]! * cx + m[7]! * y + m[8]!;
      const px = (m[0]! * cx + m[1]! * y + m[2]!) / w;
      const py = (m[3]! * cx + m[4]! * y + m[5]!) / w;
      const least = Math.min(
        length2((m[0]! - px * m[6]!) / w, (m[3]! - py * m[6]!) / w),
        length2((m[1]! - px * m[7]!) / w, (m[4]! - py * m[7]!) / w),
      );
      if (least >= LEVEL_FROM && Number.isFinite(least))
        most = Math.max(most, 2 + Math.floor(Math.log2(least / LEVEL_FROM)));
    }
    // An affine map has one footprint.
    if (m[6] === 0 && m[7] === 0) break;
  }
  let available = 1;
  for (let w = src.width, h = src.height; available < 12; available++) {
    w = halfSize(w);
    h = halfSize(h);
    if (Math.min(w, h) < 2) break;
  }
  return Math.min(most, available);
}

/**
 * Builds `count` levels of the pyramid in the scope's memory, the first at `base`, and their records: pointer, width,
 * height, bytes a plane, 0, as five 32-bit words a level.
 */
export function levelRecords(
  door: KernelDoor,
  scope: KernelScope,
  src: Picture,
  base: number,
  count: number,
): { pointer: number; count: number } {
  const words = new Int32Array(5 * count);
  let { width, height } = src;
  let at = base;
  for (let l = 0; l < count; l++) {
    words.set([at | 0, width, height, 4 * width * height, 0], 5 * l);
    if (l + 1 === count) break;
    const w = halfSize(width);
    const h = halfSize(height);
    const next = scope.allocate(4 * w * h * src.channels);
    for (let c = 0; c < src.channels; c++)
      door.run(
        'halve',
        [at + 4 * c * width * height, next + 4 * c * w * h, width, height],
        h,
        2 * width,
        4 * width + 128,
      );
    at = next;
    width = w;
    height = h;
  }
  return { pointer: scope.input(words), count };
}
