/**
 * The performer's own shadow on a set without a screen, where the set was shot empty too: how much of the empty set's
 * light is missing beside the performer (screen-shadow.ts with the empty set for the cloth). Colours and texture of the
 * set cancel; what stirs in the wind does not, and is left to whoever reads the shadow where it can fall.
 */
import { distanceToSet } from '../../image/distance.js';
import { plane, type Picture } from '../../image/picture.js';
import type { PerformerPicture } from './performer.js';
import { screenShadow, type ScreenShadow } from './screen-shadow.js';
import { smallLinear } from './small-linear.js';

/** Alpha (mean of a small pixel) from which it is the performer's, and under which it surely is set. */
const PERFORMERS = 0.1,
  SETS = 0.01;

/**
 * @param frame scene-linear RGB of the take's frame
 * @param clean of the empty set's
 * @param performer peeled from that frame, at full size
 */
export function shadowOnSet(frame: Picture, clean: Picture, performer: PerformerPicture): ScreenShadow {
  const small = smallLinear(frame),
    empty = smallLinear(clean),
    { width: w, height: h, block } = small,
    [x0, y0, x1, y1] = performer.box,
    alpha = plane(performer.picture, 3);
  const cover = new Float32Array(w * h),
    share = 1 / (block * block);
  for (let y = y0; y < y1; y++)
    for (let x = x0; x < x1; x++) {
      const i = Math.floor(y / block) * w + Math.floor(x / block);
      cover[i] = cover[i]! + share * alpha[(y - y0) * (x1 - x0) + x - x0]!;
    }
  return screenShadow(
    small,
    Uint8Array.from(cover, (v) => (v < SETS ? 1 : 0)),
    distanceToSet(
      Uint8Array.from(cover, (v) => (v > PERFORMERS ? 1 : 0)),
      w,
      h,
    ),
    empty,
    block,
  );
}
