/**
 * Whether plate, join and matte can be laid side by side frame by frame; an error says what is in the way and how to
 * get round it.
 */
import { PlatewrightError } from '../../core/errors.js';
import type { VideoInfo } from '../../media/types.js';

/** Share by which two rates, or two shapes, may differ and still be the same. */
const SAME_RATE = 0.001,
  SAME_SHAPE = 0.01;

/** `plate` as it is inspected (the clean one where one is given). Throws `PW-INSPECT-SIZE` and `PW-INSPECT-RATE`. */
export function checkBelong(plate: VideoInfo, join: VideoInfo, matte: VideoInfo): void {
  const w = plate.widthPx,
    h = plate.heightPx;
  if (w !== join.widthPx || h !== join.heightPx || matte.widthPx !== join.widthPx || matte.heightPx !== join.heightPx) {
    throw new PlatewrightError(
      'PW-INSPECT-SIZE',
      `plate (${w} × ${h}), join (${join.widthPx} × ${join.heightPx}) and matte (${matte.widthPx} × ` +
        `${matte.heightPx}) are not of one size; ${wayOut(w, h, join.widthPx, join.heightPx)}`,
    );
  }
  const a = plate.rate.num / plate.rate.den,
    b = join.rate.num / join.rate.den;
  // The same frames shown faster or slower belong together; the same time cut into other frames does not.
  if (
    Math.abs(b / a - 1) > SAME_RATE &&
    Math.abs(join.frameCount - plate.frameCount) > 1 &&
    Math.abs(join.frameCount / b - plate.frameCount / a) < 1 / a
  ) {
    throw new PlatewrightError(
      'PW-INSPECT-RATE',
      `the plate has ${rate(a)} frames a second and the join ${rate(b)} over the same time (${plate.frameCount} ` +
        `and ${join.frameCount} frames), so its frames were made anew and none shows a frame of the plate alone; ` +
        'inspect the join as it was rendered, before its rate was converted',
    );
  }
}

const rate = (v: number): string => (Math.abs(v - Math.round(v)) < 1e-3 ? v.toFixed(0) : v.toFixed(3));

function wayOut(w: number, h: number, jw: number, jh: number): string {
  if (jw === w && jh > h)
    return `the join is ${jh - h} px higher, as by bars above and below: cut them off, or inspect it as it was rendered`;
  if (jh === h && jw > w)
    return `the join is ${jw - w} px wider, as by bars at its sides: cut them off, or inspect it as it was rendered`;
  if (Math.abs((jw * h) / (jh * w) - 1) < SAME_SHAPE)
    return (
      `the join is the plate's shape at ${(jw / w).toFixed(2)} of its size: inspect it as it was rendered, ` +
      'or scale plate and matte by the same, which tells less of grain and edges'
    );
  if (Math.abs((jh * h) / (jw * w) - 1) < SAME_SHAPE)
    return 'the join is turned by a quarter: turn it back, or inspect it as it was rendered';
  return 'inspect the join with the plate and matte it was rendered from';
}
