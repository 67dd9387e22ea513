/** Picks in the order of the story, which is the order that people think of them in. */
import type { Book } from './book.js';

/** The ids among `ids` (all picks unless told) in story order; ids of no pick come last. */
export function inStoryOrder(book: Book, ids: readonly string[] = book.ids('pick')): string[] {
  const order = new Map(book.list('pick').map((p) => [p.id, p.order]));
  const at = (id: string): number => order.get(id) ?? Infinity;
  return [...ids].sort((a, b) => (at(a) === at(b) ? 0 : at(a) - at(b)));
}
