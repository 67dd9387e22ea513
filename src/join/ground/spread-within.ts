/** Softness of the plate's lens inside the outline of a marked surface. */
import { gaussianPlane } from '../../image/gaussian.js';

/**
 * What falls on a surface (times how much of the pixel it is), spread by a Gaussian as far as the surface goes: nothing
 * comes in from beside it or gets lost there.
 */
export function spreadWithin(
  fallen: Float32Array,
  lies: Float32Array,
  w: number,
  h: number,
  sdPx: number,
): Float32Array {
  const spread = gaussianPlane(fallen, w, h, sdPx),
    all = gaussianPlane(lies, w, h, sdPx);
  for (let o = 0; o < spread.length; o++) spread[o] = lies[o]! > 0 ? (lies[o]! * spread[o]!) / all[o]! : 0;
  return spread;
}
