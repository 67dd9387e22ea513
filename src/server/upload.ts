/**
 * Takes arriving from the browser: the body is written beside its place while it comes in, probed
 * in a process of its own (a damaged file may crash a decoder), and only then becomes a take of
 * the book. A failed upload leaves nothing behind.
 */
import { createWriteStream, existsSync, renameSync, rmSync } from 'node:fs';
import { basename, extname, join } from 'node:path';
import type { Readable } from 'node:stream';
import { Transform } from 'node:stream';
import { pipeline } from 'node:stream/promises';
import { addFilm, addLayers } from '../book/add-media.js';
import { freeTitle } from '../book/titles.js';
import type { Book } from '../book/book.js';
import { makeId } from '../book/documents.js';
import { stampOf } from '../book/take-again.js';
import { PlatewrightError } from '../core/errors.js';
import { checkNewFilm, checkSameFilm, relinkFilm } from '../book/film-place.js';
import { enterJob } from '../jobs/job-store.js';
import { enterTakeJobs } from '../jobs/enter-take-jobs.js';
import { probe } from '../media/probe.js';
import { checkInChild } from '../media/probe-process.js';
import type { MediaInfo } from '../media/types.js';
import { uploadPart } from './upload-part.js';

/** Largest upload: an hour of 4K from a phone is below this. */
const MAX_BYTES = 32 * 2 ** 30;
const ENDINGS = new Set([
  '.mp4',
  '.mov',
  '.mkv',
  '.m4v',
  '.avi',
  '.webm',
  '.png',
  '.jpg',
  '.jpeg',
  '.tif',
  '.tiff',
  '.mpg',
  '.mpeg',
  '.mts',
  '.m2ts',
  '.ts',
  '.mxf',
  '.3gp',
  '.webp',
  '.gif',
  '.bmp',
]);

/**
 * Takes an upload in, for a pick or for none yet; the new take's id. Throws `PW-UPLOAD-KIND` by its ending, and what
 * probing it finds.
 */
export async function acceptTake(
  book: Book,
  upload: { name: string; pick: string | null; stream: Readable },
): Promise<string> {
  if (upload.pick !== null) book.need('pick', upload.pick);
  // Of the sender's name only letters and ending are used; the path is ours.
  const ending = extname(upload.name).toLowerCase();
  if (!ENDINGS.has(ending))
    throw new PlatewrightError(
      'PW-UPLOAD-KIND',
      `"${upload.name}" does not end like a film or picture; send mp4, mov, mkv, png or jpg`,
      { kind: 'usage' },
    );
  const part = uploadPart(book, 'takes', ending);
  try {
    await receive(upload, part);
    const info = await lookAt(part, upload.name);
    if (info.video === null)
      throw new PlatewrightError('PW-MEDIA-NOPICTURE', `"${upload.name}" holds no picture; send the film of the take`);
    const words = upload.name.slice(0, -ending.length);
    const id = makeId(
      words,
      (candidate) =>
        book.get('take', candidate) !== null || existsSync(book.insidePath('takes', `${candidate}${ending}`)),
      'take',
    );
    const path = book.insidePath('takes', `${id}${ending}`);
    renameSync(part, path);
    const still = info.video.frameCount === 1;
    book.edit(`add take ${id}`, (e) =>
      e.put('take', {
        id,
        pick: upload.pick,
        title: freeTitle(words.slice(0, 120) || id, book.list('take')),
        file: book.storedPath(path),
        kind: still ? 'still' : 'video',
        star: false,
        note: '',
        info: { ...info, file: book.storedPath(path) },
        marks: null,
        ...stampOf(path),
      }),
    );
    enterTakeJobs(book, book.need('take', id));
    return id;
  } catch (error) {
    rmSync(part, { force: true });
    throw error;
  }
}

const FILM_ENDINGS = new Set([
  '.mp4',
  '.mov',
  '.mkv',
  '.m4v',
  '.avi',
  '.webm',
  '.mpg',
  '.mpeg',
  '.mts',
  '.m2ts',
  '.ts',
  '.vob',
  '.mxf',
  '.wmv',
  '.ogv',
  '.3gp',
]);

/**
 * A film arriving from the browser: kept in the production's folder `films`, and scanned for its shots.
 * With `to` it stands in for the file of a film that the book has already and that is missing. Throws
 * the errors of `acceptTake`, `PW-FILM-TWICE` and `PW-FILM-OTHER`.
 */
export async function acceptFilm(
  book: Book,
  upload: { name: string; to: string | null; stream: Readable },
): Promise<string> {
  const was = upload.to === null ? null : book.need('film', upload.to);
  const ending = extname(upload.name).toLowerCase();
  if (!FILM_ENDINGS.has(ending))
    throw new PlatewrightError(
      'PW-UPLOAD-KIND',
      `"${upload.name}" does not end like a film; send mp4, mov, mkv, webm, avi, mpg or mxf`,
      { kind: 'usage' },
    );
  const part = uploadPart(book, 'films', ending);
  try {
    await receive(upload, part);
    const info = await lookAt(part, upload.name);
    if (info.video === null)
      throw new PlatewrightError('PW-MEDIA-NOPICTURE', `"${upload.name}" holds no picture; send the film itself`);
    if (was === null) checkNewFilm(book, part, `"${upload.name}"`);
    else checkSameFilm(was, info, upload.name);
    const words = upload.name.slice(0, -ending.length);
    const name = makeId(words, (i) => existsSync(book.insidePath('films', `${i}${ending}`)), 'film');
    const path = book.insidePath('films', `${name}${ending}`);
    renameSync(part, path);
    const film =
      was === null
        ? await addFilm(book, path, { title: freeTitle(words.slice(0, 120) || 'film', book.list('film')) })
        : await relinkFilm(book, was.id, path);
    if (film.cutList === undefined) enterJob(book, 'scan', film.id, {});
    return film.id;
  } finally {
    rmSync(part, { force: true });
  }
}

/**
 * What the file holds, told by a process of its own. Complaints and notes speak of the file by the sender's name, not
 * by the one it has on its way in.
 */
async function lookAt(part: string, name: string): Promise<MediaInfo> {
  const ours = basename(part);
  try {
    const info = await checkInChild(part);
    return info.video === null
      ? info
      : { ...info, video: { ...info.video, notes: info.video.notes.map((n) => n.replaceAll(ours, name)) } };
  } catch (error) {
    if (!(error instanceof PlatewrightError) || !error.message.includes(ours)) throw error;
    const sentence = error.message.slice(error.code.length + 2).replaceAll(ours, name);
    throw new PlatewrightError(error.code, sentence, { kind: error.kind, detail: error.detail, cause: error });
  }
}

/** Writes what is sent to `part`; refuses what is larger than 32 GiB, what is empty and what breaks off. */
async function receive(upload: { name: string; stream: Readable }, part: string): Promise<void> {
  let bytes = 0;
  const limit = new Transform({
    transform(chunk: Buffer, _encoding, done) {
      bytes += chunk.length;
      done(
        bytes > MAX_BYTES
          ? new PlatewrightError('PW-UPLOAD-SIZE', 'the upload is larger than 32 GiB; send a shorter piece')
          : null,
        chunk,
      );
    },
  });
  try {
    await pipeline(upload.stream, limit, createWriteStream(part));
  } catch (error) {
    // The page was closed, or the line broke: no fault of the program, which the terminal would have to hear of.
    if ((error as NodeJS.ErrnoException).code === 'ECONNRESET' || (error as Error).message === 'aborted')
      throw new PlatewrightError(
        'PW-UPLOAD-BROKEN',
        `"${upload.name}" broke off after ${(bytes / 1e6).toFixed(1)} MB, as where its page is closed; ` +
          'nothing of it was kept: send it again',
        { cause: error },
      );
    throw error;
  }
  if (bytes === 0) throw new PlatewrightError('PW-UPLOAD-EMPTY', `"${upload.name}" arrived empty; send it again`);
}

const PICTURES = new Set(['.png', '.tif', '.tiff']);

/**
 * A picture that joins a drawing in layers: the first one makes the take, each further one is its next layer. What is
 * written is probed in a process of its own first. Throws the errors of `acceptTake`, and `PW-TAKE-LAYERS`.
 */
export async function acceptLayer(
  book: Book,
  upload: { name: string; pick: string | null; to: string | null; stream: Readable },
): Promise<string> {
  if (upload.pick !== null) book.need('pick', upload.pick);
  const ending = extname(upload.name).toLowerCase();
  if (!PICTURES.has(ending))
    throw new PlatewrightError('PW-UPLOAD-KIND', `"${upload.name}" is no layer; send PNG or TIFF pictures with alpha`, {
      kind: 'usage',
    });
  const part = uploadPart(book, 'takes', ending);
  try {
    await receive(upload, part);
    const info = await lookAt(part, upload.name);
    if (info.video === null)
      throw new PlatewrightError('PW-MEDIA-NOPICTURE', `"${upload.name}" holds no picture; send a PNG`);
    const words = upload.name.slice(0, -ending.length);
    if (upload.to === null)
      return (
        await addLayers(book, [part], {
          pick: upload.pick,
          title: freeTitle(words.slice(0, 120) || 'drawing', book.list('take')),
        })
      ).id;
    const take = book.need('take', upload.to);
    const video = take.info.video!;
    if (take.kind !== 'layers')
      throw new PlatewrightError('PW-TAKE-LAYERS', `the take ${take.id} is no drawing in layers`, { kind: 'usage' });
    if (info.video.widthPx !== video.widthPx || info.video.heightPx !== video.heightPx)
      throw new PlatewrightError(
        'PW-TAKE-LAYERS',
        `"${upload.name}" is ${info.video.widthPx} × ${info.video.heightPx} where the first picture ` +
          `is ${video.widthPx} × ${video.heightPx}; cut all layers from one sheet of the same size`,
      );
    renameSync(
      part,
      join(book.mediaPath(take.file), `layer-${String(video.frameCount + 1).padStart(2, '0')}${ending}`),
    );
    const whole = await probe(book.mediaPath(take.file));
    const marks = take.marks ?? { frame: 0, marks: [] };
    book.edit(`add a layer to ${take.id}`, (e) =>
      e.put('take', {
        ...take,
        info: { ...whole, file: take.file },
        marks: { ...marks, marks: [...marks.marks, { kind: 'layer', frame: video.frameCount }] },
      }),
    );
    return take.id;
  } finally {
    rmSync(part, { force: true });
  }
}
