/**
 * A pick's plate as a clip of its own in the cache: the pick's frames, lossless in the film's own codes
 * (media/lossless-form.ts; RGB and what has alpha as 10-bit FFV1), numbered from 0. Every later stage works on this clip, so frame numbers of
 * marks, measures and joins count from the pick's first frame. Made again whenever it is missing, cut short or the pick's
 * span changed; the film itself is never touched.
 */
import { createHash } from 'node:crypto';
import { readdirSync, renameSync, rmSync, statSync } from 'node:fs';
import { dirname, join } from 'node:path';
import type { Book } from '../book/book.js';
import type { FilmDocument, PickDocument } from '../book/documents.js';
import { PlatewrightError } from '../core/errors.js';
import type { Rate } from '../core/rational.js';
import { toCodedRgb } from '../media/convert.js';
import { losslessForm } from '../media/lossless-form.js';
import { isMediaThere } from '../media/sequence.js';
import type { VideoFrame } from '../media/types.js';
import { VideoReader } from '../media/video-reader.js';
import { VideoWriter } from '../media/video-writer.js';
import { isWholeMatroska } from '../media/whole-matroska.js';

const inFlight = new Map<string, Promise<string>>();

/** Absolute path of a film. Throws `PW-MEDIA-MISSING` where the file is not there. */
export function filmPath(book: Book, film: FilmDocument): string {
  const source = book.mediaPath(film.file);
  if (!isMediaThere(source))
    throw new PlatewrightError(
      'PW-MEDIA-MISSING',
      `the film ${film.title} is not at ${source}; put it back there, or say where it lies now: ` +
        `"platewright film relink ${film.id} FILE", or on the workbench's Wall`,
    );
  return source;
}

/** Absolute path of the plate clip, extracting it first where needed. Throws `PW-MEDIA-MISSING`, `PW-PICK-SPAN`. */
export function plateClip(
  book: Book,
  pick: PickDocument,
  progress?: (done: number, total: number) => void,
): Promise<string> {
  const film = book.need('film', pick.film);
  let source: string;
  try {
    source = filmPath(book, film);
  } catch (error) {
    return Promise.reject(error as Error);
  }
  const s = statSync(source);
  // Two processes may extract at once; the name holds what the clip depends on, and the writer renames when whole.
  const key = createHash('sha256')
    .update(JSON.stringify([film.file, s.size, Math.round(s.mtimeMs), pick.in, pick.out]))
    .digest('hex')
    .slice(0, 12);
  const path = book.cachePath('plates', `${pick.id}-${key}.mkv`);
  if (isWholeMatroska(path)) return Promise.resolve(path);
  const running = inFlight.get(path);
  if (running !== undefined) return running;
  const made = extract(source, pick, path, progress).finally(() => inFlight.delete(path));
  inFlight.set(path, made);
  return made;
}

async function extract(
  source: string,
  pick: PickDocument,
  path: string,
  progress?: (done: number, total: number) => void,
): Promise<string> {
  const reader = await VideoReader.open(source);
  try {
    const info = reader.info;
    if (pick.out > info.frameCount || pick.in >= pick.out) {
      throw new PlatewrightError(
        'PW-PICK-SPAN',
        `the pick "${pick.id}" runs from ${pick.in} to ${pick.out}, but the film has ${info.frameCount} frames; ` +
          'choose a span inside it',
        { kind: 'usage' },
      );
    }
    // Another process may work on the same clip: each writes its own part.
    const part = path.replace(/\.mkv$/, `.${process.pid}.mkv`);
    let writer: VideoWriter | null = null;
    try {
      let n = 0;
      for await (const frame of reader.frames(pick.in, pick.out)) {
        writer ??= await openClip(part, info.rate, frame);
        if (writer.takes(frame)) await writer.writeFrame(frame);
        else await writer.writeCoded(toCodedRgb(frame));
        progress?.(++n, pick.out - pick.in);
      }
      if (writer === null)
        throw new PlatewrightError(
          'PW-MEDIA-TRUNCATED',
          `no frame of the pick "${pick.id}" can be decoded; copy the film again from its source`,
          { detail: { file: source } },
        );
      await writer.close();
    } catch (error) {
      await writer?.abort();
      throw error;
    }
    renameSync(part, path);
    for (const old of readdirSync(dirname(path))) {
      if (
        old.startsWith(`${pick.id}-`) &&
        old.endsWith('.mkv') &&
        join(dirname(path), old) !== path &&
        /-[0-9a-f]{12}\.mkv$/.test(old) &&
        old.length === pick.id.length + 17
      )
        rmSync(join(dirname(path), old), { force: true });
    }
    return path;
  } finally {
    await reader.close();
  }
}

/** The clip's writer: frames like the first are kept code for code where that can be, else as RGB of 10 bits. */
function openClip(path: string, rate: Rate, first: VideoFrame): Promise<VideoWriter> {
  const size = { widthPx: first.widthPx, heightPx: first.heightPx, rate };
  return VideoWriter.open(path, {
    ...size,
    ...(losslessForm(first) ?? {
      codec: 'ffv1',
      bits: 10,
      colour: { ...first.colour, matrix: 'rgb', fullRange: true },
    }),
  });
}
