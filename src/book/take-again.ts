/** A take whose file was replaced by another of the same name: how that is told, and how the new one is taken in. */
import { basename } from 'node:path';
import { PlatewrightError } from '../core/errors.js';
import { probe } from '../media/probe.js';
import { checkMarks } from '../plate/marks/check-marks.js';
import type { Book } from './book.js';
import type { TakeDocument } from './documents.js';
import { fileStamp } from './file-stamp.js';

/**
 * Is the take's file another than the one that entered the book? Takes from before stamps were kept, takes that are no
 * single file, and files that are not there are taken to be the same.
 */
export function isOtherFile(book: Book, take: TakeDocument): boolean {
  if (take.stamp === undefined) return false;
  const now = fileStamp(book.mediaPath(take.file));
  return now !== null && now !== take.stamp;
}

/** What says so, and the ways out. */
export function otherFile(take: TakeDocument): PlatewrightError {
  return new PlatewrightError(
    'PW-TAKE-OTHER',
    `${basename(take.file)} is another file than the one that was added as the take ${take.title}, and its marks were ` +
      `put on that one; put the old file back, or take this one in: "platewright take again ${take.id}" (its marks go; ` +
      '--keep-marks where they hold on this one too)',
    { kind: 'usage' },
  );
}

/**
 * Takes the file in as it is now. The verdict goes, joins built with the take go, and so do the marks unless they are
 * to be kept; an undo brings all back. Throws the media errors, and those of marks that do not fit the new pictures;
 * `PW-TAKE-AGAIN` of a folder of pictures.
 */
export async function takeAgain(book: Book, id: string, keepMarks: boolean): Promise<TakeDocument> {
  const take = book.need('take', id);
  if (take.kind === 'layers' || take.kind === 'sequence')
    throw new PlatewrightError(
      'PW-TAKE-AGAIN',
      `${take.title} is a folder of pictures; add the new ones as a take of their own`,
      { kind: 'usage' },
    );
  const path = book.mediaPath(take.file);
  const info = await probe(path);
  const { video } = info;
  if (video === null)
    throw new PlatewrightError(
      'PW-MEDIA-NOPICTURE',
      `${basename(path)} holds no picture; put the film of the take there`,
    );
  const marks = keepMarks ? take.marks : null;
  if (marks !== null) checkMarks(marks, video.widthPx, video.heightPx, video.frameCount, `marks of ${take.title}`);
  const stamp = fileStamp(path);
  return book.edit(`${take.title}: its file as it is now`, (e) => {
    const { verdict: _verdict, verdictOf: _verdictOf, stamp: _stamp, ...rest } = e.get('take', id) ?? take;
    const now: TakeDocument = {
      ...rest,
      kind: video.frameCount === 1 ? 'still' : 'video',
      info: { ...info, file: take.file },
      marks,
      ...(stamp === null ? {} : { stamp }),
    };
    e.put('take', now);
    for (const j of e.list('join')) if (j.take === id) e.remove('join', j.id);
    return now;
  });
}

/** The stamp that a take's document gets when its file enters, where it is one file. */
export function stampOf(path: string): { readonly stamp?: string } {
  const stamp = fileStamp(path);
  return stamp === null ? {} : { stamp };
}
