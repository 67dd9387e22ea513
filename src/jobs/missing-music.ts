/** Whether the music that the cut names is there: told before minutes of pictures are encoded for nothing. */
import { existsSync } from 'node:fs';
import type { Book } from '../book/book.js';
import { PlatewrightError } from '../core/errors.js';

/** The file of the cut's music as the book has it, where it is not there; null where it is, or where there is none. */
export function missingMusic(book: Book): string | null {
  const music = book.get('cut', 'cut')?.music ?? null;
  return music === null || existsSync(book.mediaPath(music.file)) ? null : music.file;
}

/** Throws `PW-CUT-MUSIC` where the cut's music is not there. */
export function requireMusic(book: Book): void {
  const file = missingMusic(book);
  if (file !== null)
    throw new PlatewrightError(
      'PW-CUT-MUSIC',
      `the cut's music is not there: ${file}; put the file back, or take the music out of the cut`,
      { kind: 'input', detail: { file } },
    );
}
