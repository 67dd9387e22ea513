/**
 * An open clip as the luma source of tracks and camera moves. Large pictures are averaged down by a whole factor: a
 * camera's move is known to a hundredth of a pixel from a picture of a thousand pixels, and four times sooner.
 */
import { lumaPlane, lumaSmall } from '../../media/luma.js';
import type { VideoFrame } from '../../media/types.js';
import type { VideoReader } from '../../media/video-reader.js';
import { rescale, type Mat3 } from '../../geometry/mat3.js';
import type { Measure } from '../../core/measure.js';
import type { LumaFrame, LumaSource } from './ride-source.js';
import type { CameraMove } from '../types.js';

/** Luma of an open reader, averaged down by `factor`. @param note is shown every frame on the way */
export function readerLumaSource(reader: VideoReader, factor = 1, note?: (frame: VideoFrame) => void): LumaSource {
  const widthPx = Math.floor(reader.info.widthPx / factor);
  const heightPx = Math.floor(reader.info.heightPx / factor);
  const plane = new Float32Array(widthPx * heightPx);
  return {
    widthPx,
    heightPx,
    frameCount: reader.info.frameCount,
    async *frames(from: number, to: number): AsyncGenerator<LumaFrame> {
      for await (const f of reader.frames(from, to)) {
        note?.(f);
        if (factor === 1) lumaPlane(f, plane);
        else lumaSmall(f, widthPx, heightPx, plane);
        yield { index: f.index, luma: plane };
      }
    },
  };
}

/** Whole factor that brings a picture's width to a thousand pixels or a little more. */
export function moveFactor(widthPx: number): number {
  return Math.max(1, Math.floor(widthPx / 900));
}

/** A camera move measured on a picture smaller by `factor`, in pixels of the full picture. */
export function enlargeMove(move: CameraMove, factor: number): CameraMove {
  if (factor === 1) return move;
  const px = (m: Measure): Measure => (m.value === null ? m : { ...m, value: m.value * factor, sd: m.sd! * factor });
  return {
    ...move,
    focalPx: px(move.focalPx),
    frames: move.frames.map((f) => ({ ...f, homographyToFirst: rescale(f.homographyToFirst as Mat3, factor) })),
    ...(move.shake === undefined ? {} : { shake: { ...move.shake, rmsPx: move.shake.rmsPx * factor } }),
  };
}
