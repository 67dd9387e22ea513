/** Where a film lies, and taking a film out of the book. */
import { basename } from 'node:path';
import { PlatewrightError } from '../core/errors.js';
import { probe } from '../media/probe.js';
import { isMediaThere } from '../media/sequence.js';
import type { MediaInfo } from '../media/types.js';
import type { Book } from './book.js';
import type { FilmDocument } from './documents.js';
import { fileStamp } from './file-stamp.js';

/**
 * Throws `PW-FILM-TWICE` where the book has this very file as a film already: its shots would stand on the wall twice,
 * and picks of one film would be told from those of the other by nothing.
 */
export function checkNewFilm(book: Book, file: string, name: string): void {
  const stamp = fileStamp(file);
  if (stamp === null) return;
  const had = book.list('film').find((f) => fileStamp(book.mediaPath(f.file)) === stamp);
  if (had !== undefined)
    throw new PlatewrightError(
      'PW-FILM-TWICE',
      `${name} is in the book already, as the film "${had.title}"; pick its shots there (one shot can be picked ` +
        'several times)',
      { kind: 'usage' },
    );
}

/** Ids of films and takes whose files are not where the book has them: a folder was moved, a disk is not there. */
export function missingMedia(book: Book): { films: string[]; takes: string[] } {
  const gone = (d: { file: string }): boolean => !isMediaThere(book.mediaPath(d.file));
  return {
    films: book
      .list('film')
      .filter(gone)
      .map((f) => f.id),
    takes: book
      .list('take')
      .filter(gone)
      .map((t) => t.id),
  };
}

/**
 * Throws `PW-FILM-OTHER` where what was probed can't be the film that the book has,
 * `PW-MEDIA-NOPICTURE` where it has no picture.
 */
export function checkSameFilm(film: FilmDocument, info: MediaInfo, name: string): void {
  const was = film.info.video!;
  const v = info.video;
  if (v === null) throw new PlatewrightError('PW-MEDIA-NOPICTURE', `${name} holds no picture; name the film itself`);
  const words = (x: typeof v): string =>
    `${x.widthPx} × ${x.heightPx}, ${x.rate.num}/${x.rate.den}, ${x.frameCount} frames`;
  const differs =
    v.widthPx !== was.widthPx ||
    v.heightPx !== was.heightPx ||
    v.rate.num * was.rate.den !== was.rate.num * v.rate.den ||
    (v.frameCountExact && was.frameCountExact && v.frameCount !== was.frameCount);
  if (differs)
    throw new PlatewrightError(
      'PW-FILM-OTHER',
      `${name} is another film than ${film.title}: it has ${words(v)}, where the book has ${words(was)}; ` +
        'name the same file, or add this one as a film of its own',
      { kind: 'usage' },
    );
}

/**
 * Says where a film lies now. Picks, marks and measures count its frames, so it has to be the same film: size, rate and
 * number of frames are compared. Throws the media errors and `PW-FILM-OTHER`.
 */
export async function relinkFilm(book: Book, id: string, file: string): Promise<FilmDocument> {
  const film = book.need('film', id);
  const info = await probe(file);
  checkSameFilm(film, info, basename(file));
  const stored = book.storedPath(file);
  return book.edit(`${film.title} lies elsewhere`, (e) => {
    const now: FilmDocument = { ...e.get('film', id)!, file: stored, info: { ...info, file: stored } };
    e.put('film', now);
    return now;
  });
}

/** Takes a film out of the book; the file is not touched. Throws `PW-FILM-USED` where picks or the cut stand on it. */
export function removeFilm(book: Book, id: string): void {
  const film = book.need('film', id);
  const picks = book
    .list('pick')
    .filter((p) => p.film === id)
    .map((p) => p.title);
  if (picks.length > 0)
    throw new PlatewrightError(
      'PW-FILM-USED',
      `${picks.length === 1 ? 'the pick' : 'the picks'} ${picks.slice(0, 5).join(', ')}` +
        `${picks.length > 5 ? ' …' : ''} ${picks.length === 1 ? 'is' : 'are'} of ${film.title}; ` +
        `take ${picks.length === 1 ? 'it' : 'them'} out of the story first`,
      { kind: 'usage' },
    );
  if (book.get('cut', 'cut')?.entries.some((x) => x.kind === 'film' && x.film === id) === true)
    throw new PlatewrightError('PW-FILM-USED', `the cut shows ${film.title}; take those shots out of the cut first`, {
      kind: 'usage',
    });
  book.edit(`take the film ${film.title} out of the book`, (e) => e.remove('film', id));
}
