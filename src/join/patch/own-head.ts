/**
 * The double's own head taken away from the joined picture before the actor's is laid on: where the double's is larger,
 * or held otherwise, it would look out from behind. Inside the double's head mark the plate is shown again, down to the
 * chin; below it the neck stays, on which the other head is set.
 */
import { gaussianPlane } from '../../image/gaussian.js';
import type { Point2 } from '../../geometry/mat3.js';
import type { Picture } from '../../image/picture.js';
import { rasterizePolygon } from '../../image/polygon.js';
import { HEAD_ROUND } from './patch-take.js';

/** Where the hood ends, in half heights of the head as marked below its middle: it thins out between these. */
const FROM = 0.6,
  TO = 0.95;
/** Softness of the hood's own border, px. */
const SOFT_PX = 1.5;

/**
 * @param joined the joined frame, coded @param plate the same frame of the mended plate, coded
 * @param region the double's head in the joined picture: the corners of `headRegion`, from its right side downwards
 * @returns the joined frame with the plate shown again, and how much of each pixel is the plate's; null where the
 * region holds nothing
 */
export function withoutOwnHead(
  joined: Picture,
  plate: Picture,
  region: readonly Point2[],
): { readonly coded: Picture; readonly hood: Float32Array } | null {
  const { width: w, height: h } = joined,
    n = w * h,
    count = region.length,
    right = region[0]!,
    left = region[count >> 1]!,
    top = region[(3 * count) >> 2]!,
    mid: Point2 = [(right[0] + left[0]) / 2, (right[1] + left[1]) / 2],
    up = [(top[0] - mid[0]) / HEAD_ROUND, (top[1] - mid[1]) / HEAD_ROUND] as const,
    size = up[0] * up[0] + up[1] * up[1];
  if (!(size > 0)) return null;
  const hood = gaussianPlane(rasterizePolygon(region, w, h), w, h, SOFT_PX),
    data = joined.data.slice();
  let any = false;
  for (let y = 0, i = 0; y < h; y++)
    for (let x = 0; x < w; x++, i++) {
      if (!(hood[i]! > 0)) continue;
      const below = -((x + 0.5 - mid[0]) * up[0] + (y + 0.5 - mid[1]) * up[1]) / size,
        t = Math.max(0, Math.min(1, (below - FROM) / (TO - FROM)));
      hood[i]! *= 1 - t * t * (3 - 2 * t);
      if (!(hood[i]! > 0)) continue;
      any = true;
      for (let c = 0; c < 3; c++) data[c * n + i]! += hood[i]! * (plate.data[c * n + i]! - data[c * n + i]!);
    }
  return any ? { coded: { ...joined, data }, hood } : null;
}
