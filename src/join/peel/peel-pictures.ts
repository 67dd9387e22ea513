/** A take peeled frame by frame into numbered pictures: 16-bit mattes and colours beside each other in one folder. */
import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { createPicture } from '../../image/picture.js';
import { PngSequence } from '../../media/png-sequence.js';
import type { VideoReader } from '../../media/video-reader.js';
import type { Peeler } from './performer.js';
import { peelWithin, type PeelOptions, type ScreenModel } from './peel.js';
import type { TakeSpan } from './screen-peeler.js';

/** Which frames of a take become pictures, and where these go. */
export interface PictureOrder {
  /** From `in` (inclusive) to `out` (exclusive). */
  readonly span: TakeSpan;
  readonly folder: string;
  /** Told after every frame how many are done. */
  readonly each: (done: number) => void;
}

/** What was written: how many frames, and the mean share of the picture that the performer covers. */
export interface PicturesMade {
  readonly written: number;
  readonly meanCoverage: number;
}

/** matte_%05d.png and colour_%05d.png in a folder, which is made if need be; colour in the take's own curve. */
function openPair(
  folder: string,
  reader: VideoReader,
): { readonly mattes: PngSequence; readonly colours: PngSequence } {
  mkdirSync(folder, { recursive: true });
  const nameOf =
    (kind: string) =>
    (n: number): string =>
      join(folder, `${kind}_${String(n).padStart(5, '0')}.png`);
  const { transfer } = reader.info.colour;
  return {
    mattes: new PngSequence(nameOf('matte'), 1, null),
    colours: new PngSequence(nameOf('colour'), 3, { transfer, primaries: 'bt709' }, true),
  };
}

/**
 * Writes matte_%05d.png and colour_%05d.png (spill removed, not premultiplied, the take's own transfer curve, Rec. 709
 * primaries) of the frames ordered. The pictures of one frame are deflated and stored while the next is peeled.
 */
export async function peelToPictures(
  reader: VideoReader,
  model: ScreenModel,
  options: PeelOptions,
  { span, folder, each }: PictureOrder,
): Promise<PicturesMade> {
  const { mattes, colours } = openPair(folder, reader);
  let written = 0;
  let covered = 0;
  for await (const frame of reader.frames(span.in, span.out)) {
    // Both sequences take the values at once; what is waited for is the frame before.
    await peelWithin(model, frame, options, ({ alpha, colour, box }) => {
      const { width: w, height: h } = alpha;
      covered += sumWithin(alpha.data, w, box) / (w * h);
      return Promise.all([mattes.write(frame.index, alpha, box), colours.write(frame.index, colour, box)]);
    });
    written += 1;
    each(written);
  }
  await Promise.all([mattes.close(), colours.close()]);
  return { written, meanCoverage: covered / Math.max(written, 1) };
}

/** The same by any peeler, such as an outline's. */
export async function peelerToPictures(
  reader: VideoReader,
  peeler: Peeler,
  { span, folder, each }: PictureOrder,
): Promise<PicturesMade> {
  const { mattes, colours } = openPair(folder, reader);
  const { widthPx: w, heightPx: h } = reader.info,
    n = w * h;
  let written = 0,
    covered = 0;
  for await (const frame of reader.frames(span.in, span.out)) {
    const { picture, box } = await peeler.peel(frame),
      alpha = createPicture(w, h, 1),
      colour = createPicture(w, h, 3),
      pw = picture.width,
      m = pw * picture.height;
    if (box[2] > box[0])
      for (let k = 0; k < m; k += 1) {
        const a = picture.data[3 * m + k]!;
        if (a <= 0) continue;
        const i = (box[1] + Math.floor(k / pw)) * w + box[0] + (k % pw);
        alpha.data[i] = a;
        covered += a / n;
        for (let p = 0; p < 3; p += 1) colour.data[p * n + i] = picture.data[p * m + k]! / a;
      }
    const whole = [0, 0, w, h] as const;
    await Promise.all([mattes.write(frame.index, alpha, whole), colours.write(frame.index, colour, whole)]);
    written += 1;
    each(written);
  }
  await Promise.all([mattes.close(), colours.close()]);
  return { written, meanCoverage: covered / Math.max(written, 1) };
}

/** Kept apart from the loop over frames, so that it is compiled once for good. */
function sumWithin(
  values: Float32Array,
  w: number,
  [x0, y0, x1, y1]: readonly [number, number, number, number],
): number {
  let sum = 0;
  for (let y = y0; y < y1; y += 1) for (let i = y * w + x0; i < y * w + x1; i += 1) sum += values[i]!;
  return sum;
}
