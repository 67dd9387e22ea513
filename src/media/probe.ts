/** What a media file holds, without decoding more of it than its headers need. */
import { basename } from 'node:path';
import { PlatewrightError } from '../core/errors.js';
import { describeSound, describeVideo } from './describe.js';
import { closeInput, openInput, requireFile } from './input.js';
import { isPictureFolder, isSequencePattern, openSequence } from './sequence.js';
import type { MediaInfo } from './types.js';
import { VideoReader } from './video-reader.js';

/**
 * Describes a file, a picture sequence (`shot_%05d.png`) or a folder of pictures. Throws `PW-MEDIA-MISSING`, `-EMPTY`,
 * `-NOTAFILE`, `-UNREADABLE`, and `-NOTHING` where there is neither picture nor sound.
 */
export async function probe(path: string): Promise<MediaInfo> {
  if (isSequencePattern(path) || isPictureFolder(path)) {
    const sequence = await openSequence(path);
    return {
      file: path,
      container: 'sequence',
      durationSeconds: (sequence.info.frameCount * sequence.info.rate.den) / sequence.info.rate.num,
      video: sequence.info,
      sound: null,
    };
  }
  requireFile(path);
  const input = await openInput(path);
  try {
    const first = describeVideo(input, null, null);
    let video = first;
    if (first !== null && !input.still) {
      // The reader finds out about times and fields; what it hands out is what the probe says.
      const reader = await VideoReader.open(path);
      video = reader.info;
      await reader.close();
    }
    const sound = describeSound(input);
    if (video === null && sound === null) {
      throw new PlatewrightError(
        'PW-MEDIA-NOTHING',
        `${basename(path)} holds neither a picture nor sound that can be decoded; ` +
          'it may be cut off before its first frame',
        { detail: { file: path } },
      );
    }
    const seconds = Number(input.context.duration) / 1e6;
    return {
      file: path,
      container: input.container,
      durationSeconds:
        video?.frameCountExact && !input.still
          ? (video.frameCount * video.rate.den) / video.rate.num
          : seconds > 0
            ? seconds
            : (sound?.durationSeconds ?? 0),
      video,
      sound,
    };
  } finally {
    await closeInput(input);
  }
}
