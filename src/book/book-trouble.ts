/**
 * Why a book can't be opened or written, told apart: damaged, on a full disk, in a folder that may
 * not be written. Only the first asks for a copy.
 */
import { accessSync, constants, statfsSync } from 'node:fs';
import { dirname } from 'node:path';
import { PlatewrightError } from '../core/errors.js';

/** Less room than this and not even the book's log can be begun (its index alone takes 32 kB). */
const LEAST_ROOM_BYTES = 128 * 1024;

/** The error `PW-BOOK-DAMAGED` of a file that is no readable book. */
export function damaged(file: string, how: string, cause?: unknown): PlatewrightError {
  return new PlatewrightError(
    'PW-BOOK-DAMAGED',
    `${file} is not a book that can be read (${how}); put your last copy of it there (book.sqlite alone, ` +
      'without the -wal and -shm files beside it); takes, joins and deliveries in the folder are not touched',
    { cause },
  );
}

/** What the disk has to do with it, as an error to act on; null where the disk is not to blame. */
export function diskTrouble(file: string, cause: unknown): PlatewrightError | null {
  const code = String((cause as { code?: unknown } | null)?.code ?? '');
  if (
    code === 'SQLITE_FULL' ||
    (code !== 'SQLITE_CORRUPT' && code !== 'SQLITE_NOTADB' && room(file) < LEAST_ROOM_BYTES)
  ) {
    return new PlatewrightError(
      'PW-BOOK-NO-ROOM',
      `the disk that holds ${file} is full: nothing was changed and nothing in the book is lost; ` +
        'free some room and do it again',
      { cause },
    );
  }
  if (code === 'SQLITE_READONLY' || !writable(file)) {
    return new PlatewrightError(
      'PW-BOOK-NOT-WRITABLE',
      `${dirname(file)} may not be written, and a book writes beside itself even to be read; ` +
        "change the folder's rights, or copy it to where you may write",
      { cause },
    );
  }
  return null;
}

function room(file: string): number {
  try {
    const s = statfsSync(dirname(file));
    return s.bavail * s.bsize;
  } catch {
    return Infinity;
  }
}

function writable(file: string): boolean {
  try {
    accessSync(dirname(file), constants.W_OK);
    accessSync(file, constants.W_OK);
    return true;
  } catch {
    return false;
  }
}
