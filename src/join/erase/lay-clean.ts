/** The last of a clean frame: what passes before the set laid over it, and both mixed into the frame. */
import type { Picture } from '../../image/picture.js';
import type { Passing } from './erase-passing.js';

/**
 * Lays what passes before the set over the fill, in place; all over one box.
 *
 * @param hidden over 0 where the frame hides the set
 */
export function layPassing(around: Picture, fill: Picture, hidden: Float32Array, through: Passing): void {
  const n = fill.width * fill.height;
  for (let i = 0; i < n; i++) {
    const a = through.cover[i]!;
    // What the frame itself shows of it keeps its own pixels, also under the feathered edge.
    if (hidden[i]! <= 0 && through.visible[i]! > 0)
      for (let c = 0; c < 3; c++) fill.data[c * n + i] = around.data[c * n + i]!;
    else if (a > 0)
      for (let c = 0; c < 3; c++) {
        const o = c * n + i;
        fill.data[o] = fill.data[o]! + a * (through.picture.data[o]! - fill.data[o]!);
      }
  }
}

/**
 * Mixes the fill with the frame by `cover` (0..1), in place of the fill.
 *
 * @param seen 1 where the fill was seen in some frame
 * @returns 1 where what is laid in was never seen
 */
export function mixOver(around: Picture, fill: Picture, cover: Float32Array, seen: Float32Array): Float32Array {
  const n = fill.width * fill.height;
  const madeUp = new Float32Array(n);
  for (let i = 0; i < n; i++) {
    const a = cover[i]!;
    if (a > 0) madeUp[i] = 1 - seen[i]!;
    for (let c = 0; c < 3; c++) {
      const o = c * n + i;
      fill.data[o] = around.data[o]! + a * (fill.data[o]! - around.data[o]!);
    }
  }
  return madeUp;
}
