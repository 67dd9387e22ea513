/** Pictures of a sequence by their number; each is a file of its own. */
import { PlatewrightError } from '../core/errors.js';
import { PictureDecoder } from './decoder.js';
import type { Cursor } from './field-cursor.js';
import { chromaSiteOf, deliveredFormat, PlaneExtractor } from './planes.js';
import { pictureOf, type Sequence } from './sequence.js';
import type { VideoFrame } from './types.js';

/** Opens each picture when it is asked for. */
export class SequenceCursor implements Cursor {
  private readonly sequence: Sequence;
  private readonly extractors = new Map<number, PlaneExtractor>();

  constructor(sequence: Sequence) {
    this.sequence = sequence;
  }

  /**
   * Picture `n` of the sequence; null past its end. Throws `PW-MEDIA-GAP` where it is missing, `PW-MEDIA-TRUNCATED`
   * where it cannot be decoded, `PW-MEDIA-CHANGED` where it has another size.
   */
  async get(n: number): Promise<VideoFrame | null> {
    const { info, first, present } = this.sequence;
    if (n >= info.frameCount) return null;
    const name = pictureOf(this.sequence, n);
    if (!present.has(first + n))
      throw new PlatewrightError('PW-MEDIA-GAP', `${name} is missing from the sequence; render or copy it`, {
        detail: { file: name, frame: n },
      });
    const decoder = await PictureDecoder.open(name, 1);
    try {
      const frame = decoder.next();
      if (frame === null)
        throw new PlatewrightError('PW-MEDIA-TRUNCATED', `${name} cannot be decoded; render or copy it again`, {
          detail: { file: name, frame: n },
        });
      const format = frame.format as number;
      let extractor = this.extractors.get(format);
      if (!extractor) this.extractors.set(format, (extractor = new PlaneExtractor(format)));
      const par = decoder.opened.video!.codecpar;
      const out = extractor.extract(
        frame,
        n,
        info.colour,
        chromaSiteOf(par.chromaLocation, deliveredFormat(format), true),
        decoder.opened.orientation,
        info.pixelAspect,
      );
      if (out.widthPx !== info.widthPx || out.heightPx !== info.heightPx) {
        throw new PlatewrightError(
          'PW-MEDIA-CHANGED',
          `${name} is ${out.widthPx} × ${out.heightPx} where the sequence began with ${info.widthPx} ` +
            `× ${info.heightPx}`,
          { detail: { file: name, frame: n } },
        );
      }
      return out;
    } finally {
      await decoder.close();
    }
  }

  async close(): Promise<void> {
    for (const e of this.extractors.values()) e.free();
    this.extractors.clear();
  }
}
