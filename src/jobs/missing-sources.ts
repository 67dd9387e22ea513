/** Whether the films and takes that a programme shows and plays are there: told before its sound is mixed in vain. */
import type { Book } from '../book/book.js';
import { takePath } from '../book/take-place.js';
import type { Programme } from '../cut/programme.js';
import { isMediaThere } from '../media/sequence.js';
import { filmPath } from './plate-clip.js';

/**
 * Throws `PW-MEDIA-MISSING` for the first film or take of the programme that is not there, with its name and the ways
 * out; `PW-TAKE-OTHER` where another file lies in a take's place. Joins are not asked for: the film's own shots stand
 * in for those that are gone.
 */
export function requireSources(book: Book, programme: Programme): void {
  for (const item of programme.items)
    for (const file of [item.file, item.sound?.file, item.under?.sound.file]) {
      if (file === undefined || file === null || isMediaThere(file)) continue;
      const of = (d: { readonly file: string }): boolean => book.mediaPath(d.file) === file;
      const film = book.list('film').find(of);
      if (film !== undefined) filmPath(book, film);
      const take = book.list('take').find(of);
      if (take !== undefined) takePath(book, take);
    }
}
