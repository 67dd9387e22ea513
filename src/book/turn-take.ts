/** A take that was filmed upside down or on its side, set upright. */
import { existsSync } from 'node:fs';
import { extname } from 'node:path';
import { PlatewrightError } from '../core/errors.js';
import { probe } from '../media/probe.js';
import { copyTurned, type Turn } from '../media/turned-copy.js';
import type { Book } from './book.js';
import { stampOf } from './take-again.js';
import { takePath } from './take-place.js';
import type { TakeDocument } from './documents.js';

/**
 * Turns a take clockwise: a copy that asks to be shown turned takes the file's place in the book; the file stays,
 * so that an undo brings it back. Marks lie on other pixels then and go, as do the verdict and joins built with
 * it. Throws `PW-TAKE-TURN` and the media errors.
 */
export async function turnTake(book: Book, id: string, clockwise: number): Promise<TakeDocument> {
  const take = book.need('take', id);
  if (clockwise !== 90 && clockwise !== 180 && clockwise !== 270)
    throw new PlatewrightError(
      'PW-TAKE-TURN',
      `a take is turned clockwise by 90, 180 or 270 degrees, not by ${clockwise}`,
      { kind: 'usage' },
    );
  if (take.kind !== 'video')
    throw new PlatewrightError('PW-TAKE-TURN', `${take.title} is no film; turn the picture itself and add it again`, {
      kind: 'usage',
    });
  const ending = /^\.(mp4|m4v|mov)$/i.test(extname(take.file)) ? extname(take.file).toLowerCase() : '.mov';
  const free = (): string => {
    for (let n = 1; ; n++) {
      const path = book.insidePath('takes', `${id}-turned${n === 1 ? '' : `-${n}`}${ending}`);
      if (!existsSync(path)) return path;
    }
  };
  const target = free();
  await copyTurned(takePath(book, take), target, clockwise as Turn);
  const info = await probe(target);
  const file = book.storedPath(target);
  return book.edit(`turn ${take.title} by ${clockwise}°`, (e) => {
    const { verdict: _verdict, verdictOf: _verdictOf, marks, ...rest } = e.get('take', id) ?? take;
    const turned: TakeDocument = {
      ...rest,
      file,
      info: { ...info, file },
      marks: marks?.cleanFrame === undefined ? null : { frame: marks.frame, cleanFrame: marks.cleanFrame, marks: [] },
      ...stampOf(target),
    };
    e.put('take', turned);
    for (const j of e.list('join')) if (j.take === id) e.remove('join', j.id);
    return turned;
  });
}
