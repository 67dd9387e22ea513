/** Which pick a take is for, and taking a take out of the book. */
import { PlatewrightError } from '../core/errors.js';
import { isMediaThere } from '../media/sequence.js';
import type { Book } from './book.js';
import { makeId, type TakeDocument } from './documents.js';
import { isOtherFile, otherFile } from './take-again.js';
import { freeTitle } from './titles.js';

/**
 * Says which pick a take is for; null: for none yet. A verdict goes with the pick it was given against; marks, star and
 * note stay. Throws `PW-BOOK-NO-SUCH` where there is no such take or pick.
 */
export function assignTake(book: Book, id: string, pick: string | null): TakeDocument {
  const now = book.need('take', id);
  const title = pick === null ? '' : book.need('pick', pick).title;
  if (now.pick === pick) return now;
  return book.edit(pick === null ? `${now.title} is for no pick` : `${now.title} is for ${title}`, (e) => {
    const { verdict: _verdict, verdictOf: _verdictOf, ...rest } = e.get('take', id) ?? now;
    const take: TakeDocument = { ...rest, pick };
    e.put('take', take);
    return take;
  });
}

/**
 * Uses a take for another pick too: a take of its own there, of the same file and with its marks, judged by itself. The
 * file is not copied. Throws `PW-BOOK-NO-SUCH` where there is no such take or pick, and `PW-TAKE-TWICE` where the file
 * is a take of that pick already.
 */
export function takeFor(book: Book, id: string, pick: string): TakeDocument {
  const of = book.need('take', id);
  const { title } = book.need('pick', pick);
  const there = book.list('take').find((t) => t.pick === pick && t.file === of.file);
  if (there !== undefined)
    throw new PlatewrightError('PW-TAKE-TWICE', `${there.title} is a take of ${title} already`, { kind: 'usage' });
  return book.edit(`${of.title} is for ${title} too`, (e) => {
    const { verdict: _verdict, verdictOf: _verdictOf, ...rest } = of;
    const take: TakeDocument = {
      ...rest,
      id: makeId(of.id, (i) => e.get('take', i) !== null, 'take'),
      pick,
      title: freeTitle(of.title, e.list('take')),
      star: false,
    };
    e.put('take', take);
    return take;
  });
}

/**
 * Takes a take out of the book; its file stays, so that an undo brings it back whole.
 * Throws `PW-TAKE-USED` where a join is built with it.
 */
export function removeTake(book: Book, id: string): void {
  const take = book.need('take', id);
  const used = book
    .list('join')
    .filter((j) => j.take === id)
    .map((j) => book.get('pick', j.id)?.title ?? j.id);
  if (used.length > 0)
    throw new PlatewrightError(
      'PW-TAKE-USED',
      `the join of ${used.join(' and of ')} is built with ${take.title}; build it with another take first`,
      { kind: 'usage' },
    );
  book.edit(`take ${take.title} out of the book`, (e) => {
    e.remove('take', id);
    for (const m of e.list('moment')) if (m.take === id) e.remove('moment', m.id);
  });
}

/** What says that a take has no pick, and the ways out. */
export function looseTake(take: TakeDocument): PlatewrightError {
  return new PlatewrightError(
    'PW-TAKE-LOOSE',
    `the take ${take.title} belongs to no pick yet; say which it is for: ` +
      `"platewright take for ${take.id} PICK", or on the workbench's Shoot day under “Takes for no pick”`,
    { kind: 'usage' },
  );
}

/**
 * Absolute path of a take's file. Throws `PW-MEDIA-MISSING` where it is not there, `PW-TAKE-OTHER` where another is.
 */
export function takePath(book: Book, take: TakeDocument): string {
  const path = book.mediaPath(take.file);
  if (!isMediaThere(path))
    throw new PlatewrightError(
      'PW-MEDIA-MISSING',
      `the take ${take.title} is not at ${path}; put it back there, ` +
        `or take it out of the book ("platewright take remove ${take.id}") and add it again`,
    );
  if (isOtherFile(book, take)) throw otherFile(take);
  return path;
}
