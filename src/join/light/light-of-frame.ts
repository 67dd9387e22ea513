/**
 * The performer in the light of one frame, where the film's own light changes over the shot: the plate's change on its
 * coded values.
 */
import { decodeLight, encodeLight } from '../../media/light-curves.js';
import type { Picture } from '../../image/picture.js';
import { changeOf } from '../../plate/light/light-between.js';
import { lightAt, type LightOverShot } from '../../plate/light/light-over-shot.js';

/** A change of coded values that nobody sees, a fifth of an 8-bit step. */
const UNSEEN = 0.2 / 255;

/** Changes premultiplied scene-linear RGBA in place. */
export function lightOfFrame(picture: Picture, light: LightOverShot, frame: number): void {
  const change = lightAt(light, frame);
  if (changeOf(change, 0, 1) < UNSEEN) return;
  const { data, width, height } = picture,
    n = width * height,
    { transfer } = light;
  for (let i = 0; i < n; i++) {
    const a = data[3 * n + i]!;
    if (a <= 0) continue;
    for (let c = 0; c < 3; c++) {
      const v = change.gain[c]! * encodeLight(data[c * n + i]! / a, transfer) + change.offset[c]!;
      data[c * n + i] = a * decodeLight(Math.max(0, v), transfer);
    }
  }
}
