/** Why a film file can't be read as asked, as errors that a person can act on. */
import { basename } from 'node:path';
import { PlatewrightError } from '../core/errors.js';
import type { OpenedInput } from './input.js';

/** The file has no picture, or none that can be decoded. */
export function noPicture(path: string, { video, sound }: OpenedInput): PlatewrightError {
  // A picture without a frame: the stretch was copied out of a file and no key frame lay in it.
  const why =
    video === null
      ? `has no picture that can be decoded${sound === null ? '' : ', only sound'}; choose a film or a still`
      : 'says that it has a picture, but no frame of it can be decoded; if it was cut out of a longer file, ' +
        'cut it again from a key frame on, or let the picture be coded anew';
  return new PlatewrightError('PW-MEDIA-NOPICTURE', `${basename(path)} ${why}`, { detail: { file: path } });
}

/** Frame `n` was asked for, which the clip does not have. */
export function outside(path: string, n: number, count: number): PlatewrightError {
  return new PlatewrightError(
    'PW-MEDIA-FRAME',
    `${basename(path)} has frames 0 to ${count - 1}, but frame ${n} was asked for`,
    { kind: 'usage', detail: { file: path, frame: n, frameCount: count } },
  );
}

/** Not one frame of the file is whole. */
export function endsTooSoon(path: string): PlatewrightError {
  return new PlatewrightError(
    'PW-MEDIA-TRUNCATED',
    `${basename(path)} ends before its first whole frame; copy it again from its source`,
    { detail: { file: path } },
  );
}

/** Frame `n` ought to be there and can't be decoded. */
export function damagedAt(path: string, n: number): PlatewrightError {
  return new PlatewrightError(
    'PW-MEDIA-TRUNCATED',
    `frame ${n} of ${basename(path)} cannot be decoded; the file is damaged there`,
    { detail: { file: path, frame: n } },
  );
}

/** A frame was asked for after `close`. */
export function closedAlready(path: string): PlatewrightError {
  return new PlatewrightError('PW-MEDIA-CLOSED', `${basename(path)} was closed already`, { kind: 'internal' });
}
