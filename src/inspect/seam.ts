/**
 * The seam of a mended plate: whether brightness steps where mended picture meets picture as filmed. Along the border the mean of a
 * strip inside is held against that of a strip outside, piece by piece; the plate's own texture gives such differences too, so
 * the same is read between two strips outside, as far apart, and its square taken off. What is left is the seam's own (rms).
 */
import { nearestInSet } from '../image/distance.js';
import { gaussianPlane } from '../image/gaussian.js';

/** A strip's near and far side, px from the border, and how much farther out the second strip outside lies. */
const NEAR = 1.5, FAR = 4.5, APART = 6;
/** Side of a piece of the border, px; pixels that each of its strips needs; pieces without which nothing is said. */
const PIECE = 14, LEAST = 12, PIECES = 6;
/** Change of coded luma from which a pixel is mended: half a step of an 8-bit picture. */
const CHANGED = 0.002;

/** Where the plate was changed, holes and specks smoothed away: 1 and 0. */
export function mendedMask(plate: Float32Array, mended: Float32Array, width: number, height: number): Uint8Array {
  const raw = Float32Array.from(plate, (v, i) => (Math.abs(mended[i]! - v) > CHANGED ? 1 : 0));
  const soft = gaussianPlane(raw, width, height, 2);
  return Uint8Array.from(soft, (v) => (v > 0.5 ? 1 : 0));
}

/**
 * Step of coded luma at the border of `mask` (1 = mended) in `luma`, rms beyond what the plate shows by itself; null where the border
 * is too short or hidden. `hidden(i)`: pixels where something else lies over the plate.
 */
export function readSeam(luma: Float32Array, mask: Uint8Array, width: number, height: number, hidden: (i: number) => boolean): number | null {
  const outside = mask.map((v) => 1 - v);
  const { nearest, distance } = nearestInSet(mask, width, height), inner = nearestInSet(outside, width, height);
  const pieces = new Map<number, Float64Array>();
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const i = y * width + x, within = mask[i] === 1, d = within ? inner.distance[i]! : distance[i]!;
      const strip = within ? (d >= NEAR && d <= FAR ? 0 : -1) : d >= NEAR && d <= FAR ? 1 : d >= NEAR + APART && d <= FAR + APART ? 2 : -1;
      if (strip < 0 || hidden(i)) continue;
      const q = within ? inner.nearest[i]! : nearest[i]!, key = Math.floor(Math.floor(q / width) / PIECE) * 4096 + Math.floor((q % width) / PIECE);
      let s = pieces.get(key);
      if (s === undefined) { s = new Float64Array(6); pieces.set(key, s); }
      s[2 * strip]! += luma[i]!;
      s[2 * strip + 1]!++;
    }
  }
  let seam = 0, own = 0, n = 0;
  for (const s of pieces.values()) {
    if (Math.min(s[1]!, s[3]!, s[5]!) < LEAST) continue;
    const at = [s[0]! / s[1]!, s[2]! / s[3]!, s[4]! / s[5]!];
    seam += (at[0]! - at[1]!) ** 2;
    own += (at[1]! - at[2]!) ** 2;
    n++;
  }
  return n < PIECES ? null : Math.sqrt(Math.max(0, seam - own) / n);
}
