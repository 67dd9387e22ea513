/** What a media file holds, without decoding more of it than its headers need. */
import { basename } from 'node:path';
import { PlatewrightError } from '../core/errors.js';
import { claimedRates, describeSound, describeVideo } from './describe.js';
import { buildFrameIndex, timingOf, type FrameIndex, type Timing } from './frame-index.js';
import { closeInput, openInput, requireFile } from './input.js';
import { isSequencePattern, openSequence } from './sequence.js';
import type { MediaInfo } from './types.js';

/** Files up to this size have their packets counted when they are opened; larger ones when a frame is asked for by number. */
export const COUNT_AT_ONCE_BYTES = 256 * 1024 * 1024;

/**
 * Describes a file or a picture sequence (`shot_%05d.png`). Throws `PW-MEDIA-MISSING`, `-EMPTY`, `-NOTAFILE`, `-UNREADABLE`, and
 * `-NOTHING` where there is neither picture nor sound.
 */
export async function probe(path: string): Promise<MediaInfo> {
  if (isSequencePattern(path)) {
    const sequence = await openSequence(path);
    return { file: path, container: 'sequence', durationSeconds: (sequence.info.frameCount * sequence.info.rate.den) / sequence.info.rate.num, video: sequence.info, sound: null };
  }
  const { sizeBytes } = requireFile(path);
  const input = await openInput(path);
  try {
    let index: FrameIndex | null = null;
    let timing: Timing | null = null;
    const first = describeVideo(input, null, null);
    if (first !== null && !input.still && sizeBytes <= COUNT_AT_ONCE_BYTES) {
      const again = await openInput(path);
      try {
        index = await buildFrameIndex(again);
      } finally {
        await closeInput(again);
      }
      timing = timingOf(index, claimedRates(input));
    }
    const video = first === null ? null : describeVideo(input, index, timing);
    const sound = describeSound(input);
    if (video === null && sound === null) {
      throw new PlatewrightError('PW-MEDIA-NOTHING', `${basename(path)} holds neither a picture nor sound that can be decoded; it may be cut off before its first frame`, { detail: { file: path } });
    }
    const seconds = Number(input.context.duration) / 1e6;
    return {
      file: path, container: input.container,
      durationSeconds: video && timing ? (video.frameCount * video.rate.den) / video.rate.num : seconds > 0 ? seconds : sound?.durationSeconds ?? 0,
      video, sound,
    };
  } finally {
    await closeInput(input);
  }
}
