/** One frame of a clip in scene-linear light, and a clip opened for one question. */
import type { VideoReader as Reader } from '../media/video-reader.js';
import { VideoReader } from '../media/video-reader.js';
import { toLinear } from '../media/convert.js';
import { clonePicture, type Picture } from '../image/picture.js';
import { checkMarks } from './marks/check-marks.js';
import type { MarksFile } from './marks/marks.js';

/** Opens a clip, holds the marks against its size and length, asks `fn`, and closes it whatever happens. */
export async function withReader<T>(file: string, marks: MarksFile, fn: (reader: Reader) => Promise<T>): Promise<T> {
  const reader = await VideoReader.open(file);
  try {
    checkMarks(marks, reader.info.widthPx, reader.info.heightPx, reader.info.frameCount, 'the marks file');
    return await fn(reader);
  } finally {
    await reader.close();
  }
}

/** One frame as scene-linear RGB. */
export async function linearFrame(reader: Reader, frame: number): Promise<Picture> {
  return clonePicture(toLinear(await reader.frame(frame)));
}
