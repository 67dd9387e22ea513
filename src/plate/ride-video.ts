/** A video file (or picture sequence) as the luma source of a track. */
import { lumaPlane } from '../media/convert.js';
import type { VideoReader } from '../media/video-reader.js';
import type { LumaFrame, LumaSource } from './ride-source.js';

/** Frames `span` of an open reader, numbered as in the file. One plane is reused: a frame is valid until the next. */
export function videoLuma(reader: VideoReader): LumaSource {
  const { widthPx, heightPx, frameCount } = reader.info;
  const luma = new Float32Array(widthPx * heightPx);
  return {
    widthPx, heightPx, frameCount,
    async *frames(from: number, to: number): AsyncGenerator<LumaFrame> {
      for await (const f of reader.frames(from, Math.min(to, frameCount))) {
        lumaPlane(f, luma);
        yield { index: f.index, luma };
      }
    },
  };
}
