/** A production for tests: a book with one film and one pick of it. */
import { join } from 'node:path';
import { addFilm } from './add-media.js';
import { Book } from './book.js';
import type { PickDocument } from './documents.js';
import { newProduction } from './new-production.js';

/** The production lies in `production` below the folder; its book is left open. @param film the film's file */
export async function madeProduction(
  folder: string,
  title: string,
  film: string,
  pick: Pick<PickDocument, 'id' | 'in' | 'out'> & Partial<PickDocument>,
): Promise<Book> {
  const book = Book.create(join(folder, 'production'));
  book.edit('start', (e) => e.put('production', newProduction(title)));
  await addFilm(book, film, { title: 'Film', credit: 'the test' });
  const usual = { film: 'film', title: pick.id, order: 1, note: '', action: '', marks: { frame: 0, marks: [] } };
  book.edit('pick', (e) => e.put('pick', { ...usual, ...pick }));
  return book;
}
