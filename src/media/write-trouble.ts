/**
 * Why FFmpeg could not write a file, as an error that a person can act on. Its codes below zero are the system's own
 * with the sign turned (FFmpeg's libavutil/error.h, AVERROR); a full disk is told only where the system said so.
 */
import { constants } from 'node:os';
import { PlatewrightError } from '../core/errors.js';
import { FFmpegError } from './ffmpeg.js';

const { errno } = constants;

/** What the system says of a disk. Each ends as a sentence that "and begin again" goes on from. */
const DISK: Readonly<Record<number, string>> = {
  [errno.ENOSPC]: 'the disk is full; free some room',
  [errno.EDQUOT]: 'your share of the disk is used up; free some room',
  [errno.EFBIG]: 'it has grown larger than its disk or your account may hold; free it of that limit',
  [errno.EIO]: 'the disk does not take it, as one that fails or was taken away; look after it',
  [errno.ENODEV]: 'its disk was taken away; put it back',
  [errno.ENXIO]: 'its disk was taken away; put it back',
  [errno.EROFS]: 'its disk is open for reading only; change that',
  [errno.ENOENT]: 'its folder is gone; put it back',
  [errno.EACCES]: 'it may not be written by you; change its rights',
  [errno.EPERM]: 'it may not be written by you; change its rights',
};

/**
 * @param doing what could not be done: "x.mov can't be written any further"
 * @param code what FFmpeg answered, below 0
 */
export function writeTrouble(doing: string, code: number, file: string): PlatewrightError {
  const disk = DISK[-code];
  if (disk !== undefined)
    return new PlatewrightError('PW-MEDIA-WRITE', `${doing}: ${disk} and begin again`, { detail: { file, code } });
  return new PlatewrightError(
    'PW-MEDIA-WRITE',
    `${doing}, and not for want of room: FFmpeg says "${FFmpegError.strerror(code)}" (${code}); ` +
      'choose another kind of file or another folder and begin again',
    { kind: 'internal', detail: { file, code } },
  );
}
