/**
 * The seam of a mended plate: whether brightness steps where mended picture meets picture as filmed. Along the border
 * the mean of a strip inside is held against that of a strip outside, piece by piece. The set's own edges give such
 * differences too, the more so as a border likes to run along them, but now brighter and now darker: the median of the
 * pieces counts, less one and a half of its own standard deviation (of normal pieces 1.25 σ / √n, σ from the median
 * deviation; Huber, Robust Statistics, 1981). So a part that is mended too bright or too dark as a whole is found, a
 * flaw in one place is not.
 */
import { nearestInSet } from '../../image/distance.js';
import { gaussianPlane } from '../../image/gaussian.js';
import type { Box } from '../../join/ground/ground.js';
import { quantile } from '../reader/frame.js';

/** A strip's near and far side, px from the border. */
const NEAR = 1.5,
  FAR = 4.5;
/** Side of a piece of the border, px; pixels that each of its strips needs; pieces without which nothing is said. */
const PIECE = 14,
  LEAST = 12,
  PIECES = 6;
/** Change of coded luma from which a pixel is mended: half a step of an 8-bit picture. */
const CHANGED = 0.002;

/** Where the plate was changed, holes and specks smoothed away: 1 and 0. */
export function mendedMask(plate: Float32Array, mended: Float32Array, width: number, height: number): Uint8Array {
  const raw = Float32Array.from(plate, (v, i) => (Math.abs(mended[i]! - v) > CHANGED ? 1 : 0));
  const soft = gaussianPlane(raw, width, height, 2);
  return Uint8Array.from(soft, (v) => (v > 0.5 ? 1 : 0));
}

/**
 * Step of coded luma at the border of `mask` (1 = mended) in `luma`, as much of it as is sure, and where it is largest;
 * null where the border is too short or hidden. `hidden(i)`: pixels where something else lies over the plate.
 */
export function readSeam(
  luma: Float32Array,
  mask: Uint8Array,
  width: number,
  height: number,
  hidden: (i: number) => boolean,
): { readonly step: number; readonly at: Box } | null {
  const outside = mask.map((v) => 1 - v);
  const { nearest, distance } = nearestInSet(mask, width, height),
    inner = nearestInSet(outside, width, height);
  const pieces = new Map<number, Float64Array>();
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const i = y * width + x,
        within = mask[i] === 1,
        d = within ? inner.distance[i]! : distance[i]!;
      const strip = within ? 0 : 1;
      if (d < NEAR || d > FAR || hidden(i)) continue;
      const q = within ? inner.nearest[i]! : nearest[i]!,
        key = Math.floor(Math.floor(q / width) / PIECE) * 4096 + Math.floor((q % width) / PIECE);
      let s = pieces.get(key);
      if (s === undefined) {
        s = new Float64Array(4);
        pieces.set(key, s);
      }
      s[2 * strip]! += luma[i]!;
      s[2 * strip + 1]!++;
    }
  }
  const steps: number[] = [],
    keys: number[] = [];
  for (const [key, s] of pieces)
    if (Math.min(s[1]!, s[3]!) >= LEAST) {
      steps.push(s[0]! / s[1]! - s[2]! / s[3]!);
      keys.push(key);
    }
  if (steps.length < PIECES) return null;
  const middle = quantile(steps, 0.5),
    sigma =
      1.4826 *
      quantile(
        steps.map((v) => Math.abs(v - middle)),
        0.5,
      );
  // The place is told by the piece that steps most the way that most do.
  const most = keys[steps.reduce((w, v, k) => (v * Math.sign(middle) > steps[w]! * Math.sign(middle) ? k : w), 0)]!,
    x = PIECE * (most % 4096),
    y = PIECE * Math.floor(most / 4096);
  return {
    step: Math.max(0, Math.abs(middle) - (1.5 * 1.2533 * sigma) / Math.sqrt(steps.length)),
    at: [x, y, Math.min(width, x + PIECE), Math.min(height, y + PIECE)],
  };
}
