/** A take frame as the performer's motion is followed on it: its luma, and what of it the performer covers. */
import { toCodedRgb } from '../media/convert.js';
import { lumaPlane } from '../media/luma.js';
import { resizePlane } from '../image/resize.js';
import type { VideoReader } from '../media/video-reader.js';
import type { SeenBody } from './sight-from-turn.js';
import { lookAt, shrink } from './take-look.js';
import type { TakePass } from './take-pass.js';

/**
 * Height that the performer has where its motion is followed, px, and how far a take is enlarged for it at most: the
 * motion of a small body is smoothed away (180 px tall as it is 15 % short, at 270 px 6 %).
 */
const BODY_PX = 450,
  MOST_ENLARGED = 2;

export interface Size {
  readonly width: number;
  readonly height: number;
}

/** The size at which the motion of a performer so tall (px) is followed. */
export function motionSize(widthPx: number, heightPx: number, bodyPx: number): Size {
  const k = Math.min(MOST_ENLARGED, BODY_PX / Math.max(1, bodyPx));
  return { width: Math.max(1, Math.round(k * widthPx)), height: Math.max(1, Math.round(k * heightPx)) };
}

/** The performer on a frame; null where none is seen. Throws the media errors. */
export async function seenBody(
  reader: VideoReader,
  { factor, near, model, bare }: TakePass,
  frame: number,
  { width, height }: Size,
): Promise<SeenBody | null> {
  const picture = await reader.frame(frame),
    luma = resizePlane(lumaPlane(picture), picture.widthPx, picture.heightPx, width, height, 'cubic'),
    coded = toCodedRgb(picture),
    small = shrink(coded, factor),
    look = lookAt(coded, small, model, factor, near, reader.info.hasAlpha, bare?.mask(small, frame));
  if (look.box === null || look.performer === null) return null;
  const covered = new Uint8Array(width * height),
    kx = small.width / width,
    ky = small.height / height;
  for (let y = 0; y < height; y++)
    for (let x = 0; x < width; x++)
      covered[y * width + x] =
        look.performer[
          Math.min(small.height - 1, Math.floor((y + 0.5) * ky)) * small.width +
            Math.min(small.width - 1, Math.floor((x + 0.5) * kx))
        ]!;
  const { x0, y0, x1, y1 } = look.box;
  return {
    luma,
    covered,
    width,
    height,
    box: {
      x0: Math.floor(x0 / kx),
      y0: Math.floor(y0 / ky),
      x1: Math.min(width, Math.ceil(x1 / kx)),
      y1: Math.min(height, Math.ceil(y1 / ky)),
    },
  };
}
