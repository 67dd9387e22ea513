/** Clean frames of a loose file: the plate cleaner run over a clip, written as a picture sequence or film. */
import { findCuts } from '../../film/find-cuts.js';
import { createPicture, plane, type Picture } from '../../image/picture.js';
import { toCodedRgb } from '../../media/convert.js';
import { VideoReader } from '../../media/video-reader.js';
import { VideoWriter } from '../../media/video-writer.js';
import { measureLook } from '../../plate/look/look.js';
import type { RegionFile } from '../../plate/marks/marks.js';
import type { EraseReport } from './clean-set.js';
import { PlateCleaner, type CleanedBox } from './erase.js';
import { grower, type Grower } from '../air/grain.js';

export interface EraseFileOptions {
  /**
   * Grow the plate's grain over what was laid in, so that it sits in the film; off, the fill is as still as a
   * photograph. Default false.
   */
  readonly grain?: boolean;
  readonly shadowToo?: boolean;
  readonly growPx?: number;
  /** Shadows to be relit where no frame shows their ground lit. */
  readonly shadows?: readonly RegionFile[];
  readonly signal?: AbortSignal;
  readonly onProgress?: (done: number, total: number) => void;
  /** Each clean frame with what was replaced in it (null: nothing); valid during the call. */
  readonly onFrame?: (frame: number, clean: Picture, cleaned: CleanedBox | null) => void;
}

export interface EraseFileReport extends EraseReport {
  readonly frames: number;
}

/** Adds the plate's grain over what a cleaned box replaced, in place. */
export function growGrain(grain: Grower, frame: number, cleaned: CleanedBox): void {
  const { box, coded, cover } = cleaned;
  const n = coded.width * coded.height;
  grain.add(frame, [box[0], box[1], box[2], box[3]], coded.data, (c) => {
    const curve = grain.curves[c],
      from = plane(coded, c),
      out = new Float32Array(n);
    // The frame's own grain stays in the mix by 1 − cover; variances add.
    for (let i = 0; i < n; i++) {
      const a = cover[i]!;
      if (a > 0) out[i] = curve[Math.min(63, Math.max(0, Math.round(from[i]! * 63)))]! * Math.sqrt(a * (2 - a));
    }
    return out;
  });
}

/** Lays a cleaned box into a whole display-coded picture, in place. */
export function layBox(whole: Picture, cleaned: CleanedBox): void {
  const [x0, y0, x1, y1] = cleaned.box;
  const bw = x1 - x0;
  for (let c = 0; c < 3; c++) {
    const to = plane(whole, c),
      from = plane(cleaned.coded, c);
    for (let y = y0; y < y1; y++)
      for (let x = x0; x < x1; x++) {
        const i = (y - y0) * bw + x - x0;
        if (cleaned.cover[i]! > 0) to[y * whole.width + x] = from[i]!;
      }
  }
}

/** From the first to the last shot in which a region is marked: another shot's set is none of this one's. */
async function shotsMarked(
  reader: VideoReader,
  regions: readonly RegionFile[],
  signal: AbortSignal | undefined,
): Promise<{ readonly in: number; readonly out: number }> {
  const { shots } = await findCuts(reader, signal === undefined ? {} : { signal }),
    marked = regions.flatMap((r) => r.frames.map((f) => f.frame));
  const of = (n: number): (typeof shots)[number] | undefined => shots.find((s) => n >= s.in && n < s.out);
  return { in: of(Math.min(...marked))?.in ?? 0, out: of(Math.max(...marked))?.out ?? reader.info.frameCount };
}

/**
 * Writes clean frames (display-coded pictures where `out` is a pattern like `clean_%05d.png`; a film name gives FFV1).
 * Throws the media door's errors.
 */
export async function eraseFile(
  file: string,
  region: RegionFile,
  out: string | null,
  options: EraseFileOptions = {},
): Promise<EraseFileReport> {
  const reader = await VideoReader.open(file);
  try {
    const { widthPx, heightPx, frameCount, rate, colour } = reader.info;
    const span = await shotsMarked(reader, [region, ...(options.shadows ?? [])], options.signal);
    const cleaner = await PlateCleaner.build(reader, {
      regions: [region],
      span,
      ...(options.shadows === undefined ? {} : { shadows: options.shadows }),
      ...(options.shadowToo === undefined ? {} : { shadowToo: options.shadowToo }),
      ...(options.growPx === undefined ? {} : { growPx: options.growPx }),
      ...(options.signal === undefined ? {} : { signal: options.signal }),
    });
    const look = options.grain === true ? await measureLook(reader) : null;
    const grain =
      look === null || look.grain.table.length === 0
        ? null
        : grower(
            {
              table: look.grain.table,
              autocorrelation: look.grain.autocorrelation,
              channelCorrelation: look.grain.channelCorrelation,
            },
            1,
          );
    const writer =
      out === null
        ? null
        : await VideoWriter.open(out, {
            widthPx,
            heightPx,
            rate,
            codec: 'png',
            colour: { ...colour, matrix: 'rgb', fullRange: true },
          });
    const whole = createPicture(widthPx, heightPx, 3);
    try {
      for await (const frame of reader.frames()) {
        options.signal?.throwIfAborted();
        const coded = toCodedRgb(frame);
        whole.data.set(coded.data.subarray(0, whole.data.length));
        const cleaned = frame.index >= span.in && frame.index < span.out ? cleaner.clean(frame.index, whole) : null;
        if (cleaned !== null) {
          if (grain !== null) growGrain(grain, frame.index, cleaned);
          layBox(whole, cleaned);
        }
        options.onFrame?.(frame.index, whole, cleaned);
        await writer?.writeCoded(whole);
        options.onProgress?.(frame.index + 1, frameCount);
      }
      await writer?.close();
    } catch (error) {
      await writer?.abort();
      throw error;
    }
    const notes =
      span.in > 0 || span.out < frameCount
        ? [
            ...cleaner.report.notes,
            `the region is marked in frames ${span.in} to ${span.out - 1}: ` +
              'other shots are left as they are and give nothing',
          ]
        : cleaner.report.notes;
    return { ...cleaner.report, notes, frames: frameCount };
  } finally {
    await reader.close();
  }
}
