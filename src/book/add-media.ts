/** Films and takes entering the book: probed first, so that a damaged file is refused before anything changes. */
import { basename, extname } from 'node:path';
import { copyFileSync, existsSync, mkdirSync, renameSync, rmSync } from 'node:fs';
import { PlatewrightError } from '../core/errors.js';
import { probe } from '../media/probe.js';
import type { MarksFile } from '../plate/marks.js';
import { checkMarks } from '../plate/marks.js';
import type { Book } from './book.js';
import { makeId, type FilmDocument, type TakeDocument } from './documents.js';

/** Adds a film by reference: it may be large and lie anywhere. */
export async function addFilm(book: Book, file: string, words: { title?: string; credit?: string; licence?: string; id?: string }): Promise<FilmDocument> {
  const info = await probe(file);
  if (info.video === null) throw new PlatewrightError('PW-MEDIA-NOPICTURE', `${basename(file)} holds no picture; add the film itself`);
  const title = words.title ?? basename(file, extname(file));
  return book.edit(`add film ${title}`, (e) => {
    const film: FilmDocument = { id: words.id ?? makeId(title, (i) => e.get('film', i) !== null), title, file: book.storedPath(file), credit: words.credit ?? '', licence: words.licence ?? '', info: { ...info, file: book.storedPath(file) } };
    e.put('film', film);
    return film;
  });
}

/** Adds a take: copied into the production's folder unless it is there already, because a phone's copy is soon deleted. */
export async function addTake(book: Book, file: string, words: { pick?: string | null; title?: string; id?: string; marks?: MarksFile | null; note?: string }): Promise<TakeDocument> {
  const info = await probe(file);
  if (info.video === null) throw new PlatewrightError('PW-MEDIA-NOPICTURE', `${basename(file)} holds no picture; add the film of the take`);
  if (words.pick != null) book.need('pick', words.pick);
  if (words.marks != null) checkMarks(words.marks, info.video.widthPx, info.video.heightPx, info.video.frameCount, `marks of ${basename(file)}`);
  const ending = extname(file);
  const title = words.title ?? basename(file, ending);
  const id = words.id ?? makeId(title, (i) => book.get('take', i) !== null);
  let stored = book.storedPath(file);
  const sequence = /%\d*d/.test(basename(file));
  if (stored === file || stored.startsWith('..') || /^([A-Za-z]:)?[\\/]/.test(stored)) {
    if (!sequence) {
      const target = book.insidePath('takes', `${id}${ending}`);
      mkdirSync(book.insidePath('takes'), { recursive: true });
      if (existsSync(target)) throw new PlatewrightError('PW-TAKE-EXISTS', `the production already holds ${basename(target)}; give the take another name with --id`, { kind: 'usage' });
      const part = `${target}.part`;
      try {
        copyFileSync(file, part);
        renameSync(part, target);
      } finally {
        rmSync(part, { force: true });
      }
      stored = book.storedPath(target);
    }
  }
  const kind = sequence ? 'sequence' : info.video.frameCount === 1 ? 'still' : 'video';
  return book.edit(`add take ${id}`, (e) => {
    const take: TakeDocument = { id, pick: words.pick ?? null, title, file: stored, kind, star: false, note: words.note ?? '', info: { ...info, file: stored }, marks: words.marks ?? null };
    e.put('take', take);
    return take;
  });
}
