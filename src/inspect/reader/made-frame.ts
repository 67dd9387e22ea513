/** For tests and benches: a seen frame from its pictures alone, as the inspection would read it from files. */
import type { Picture } from '../../image/picture.js';
import { lumaOf, matteBox, type SeenFrame } from './frame.js';

/**
 * @param join display-coded R'G'B'; `plate` is of its size
 * @param matte performer as seen, height × width, 0..1; its box is worked out
 */
export function madeFrame(join: Picture, plate: Picture, matte: Float32Array, frame = 0): SeenFrame {
  return {
    frame,
    join,
    plate,
    luma: lumaOf(join),
    plateLuma: lumaOf(plate),
    matte,
    box: matteBox(matte, join.width, join.height),
  };
}
