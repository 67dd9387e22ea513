/**
 * One frame of a join as its users ask for it: scene-linear, display-coded, in the plate's own planes, at full chroma,
 * or its matte, each made only when it is asked for from the plate's frame and the box that was composed over it.
 */
import type { Picture } from '../../image/picture.js';
import { toCodedRgb } from '../../media/convert.js';
import { copyFrame } from '../../media/planes.js';
import type { VideoFrame } from '../../media/types.js';
import { linearPicture, type ComposedBox } from './compose.js';
import { FrameRoom } from './frame-room.js';
import { patchFrame } from './frame-box.js';
import { fullFrame, type FullPlanes } from './full-frame.js';

/** One frame of a join. */
export interface JoinFrame {
  readonly frame: number;
  /** The plate's frame (mended), its own planes. Valid until the next frame is asked for. */
  readonly plate: VideoFrame;
  readonly composed: ComposedBox | null;
  /** Scene-linear picture of the whole frame. */
  linear(): Picture;
  /** Display-coded R'G'B' of the whole frame. @param dst filled and returned if given, three channels */
  coded(dst?: Picture): Picture;
  /**
   * The frame in the plate's own planes: untouched pixels bit for bit the plate's. Valid until the next frame is asked
   * for.
   */
  video(): VideoFrame;
  /**
   * The frame at 4:4:4 with `bitDepth` bits, chroma at full size, in `planes` where they are given; null where the
   * plate's form does not allow it (see full-frame.ts). Valid until the next frame is asked for.
   */
  full(bitDepth: number, planes?: FullPlanes): VideoFrame | null;
  /** Matte of the performer as seen, whole frame, 0..1. @param dst filled and returned if given */
  matte(dst?: Float32Array): Float32Array;
}

/** Planes that every frame's own copy is made in. */
export interface Room {
  frame: VideoFrame | null;
}

function copyInto(room: Room, plate: VideoFrame): VideoFrame {
  const kept = room.frame;
  if (
    kept === null ||
    kept.bitDepth !== plate.bitDepth ||
    kept.planes.length !== plate.planes.length ||
    kept.planes.some((p, i) => p.length !== plate.planes[i]!.length)
  )
    return (room.frame = copyFrame(plate));
  plate.planes.forEach((p, i) => kept.planes[i]!.set(p));
  return (room.frame = { ...plate, planes: kept.planes });
}

/**
 * The frame in all its forms, each made when it is asked for.
 * @param composed what was laid over the plate; null leaves the plate as it is @param room where the plate's planes
 * are copied to, so that one copy serves all frames
 */
export function joinFrame(
  frame: number,
  plate: VideoFrame,
  composed: ComposedBox | null,
  room: Room,
  work?: FrameRoom,
): JoinFrame {
  return {
    frame,
    plate,
    composed,
    linear: () => linearPicture(plate, composed),
    coded: (dst) => {
      const whole = toCodedRgb(plate, dst);
      return composed === null ? whole : layCoded(whole, composed);
    },
    video: () => {
      if (composed === null) return plate;
      const out = copyInto(room, plate);
      patchFrame(out, composed.box, composed.coded.data, composed.changed, work);
      return out;
    },
    full: (bitDepth, planes) => fullFrame(plate, composed, bitDepth, work, planes),
    matte: (dst) => {
      const out = dst?.fill(0) ?? new Float32Array(plate.widthPx * plate.heightPx);
      if (composed !== null) {
        const w = composed.box[2] - composed.box[0];
        for (let y = composed.box[1]; y < composed.box[3]; y++)
          out.set(
            composed.matte.subarray((y - composed.box[1]) * w, (y - composed.box[1] + 1) * w),
            y * plate.widthPx + composed.box[0],
          );
      }
      return out;
    },
  };
}

function layCoded(whole: Picture, c: ComposedBox): Picture {
  const [x0, y0, x1, y1] = c.box;
  const w = x1 - x0,
    n = w * (y1 - y0),
    N = whole.width * whole.height;
  for (let y = y0, i = 0; y < y1; y++) {
    for (let o = y * whole.width + x0, end = o + w; o < end; o++, i++) {
      if (c.changed[i] === 0) continue;
      whole.data[o] = c.coded.data[i]!;
      whole.data[N + o] = c.coded.data[n + i]!;
      whole.data[2 * N + o] = c.coded.data[2 * n + i]!;
    }
  }
  return whole;
}
