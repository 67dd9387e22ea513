/** The page's copy of the book with an edit's changes laid on it, before the service has answered. */
import type { BookState } from '../../src/server/api-types.js';
import type { Changes } from './edit-queue.js';

/** Lists of the book's state by kind of document; other kinds are left as they are until the book is read again. */
const LISTS = { film: 'films', pick: 'picks', take: 'takes', join: 'joins', moment: 'moments' } as const;

interface Named {
  readonly id: string;
}

/** A new state; what the changes do not touch is the same object as before. */
export function withChanges(book: BookState, changes: Changes): BookState {
  let state: BookState = book;
  for (const c of changes) {
    if (c.kind === 'cut' && c.do !== 'remove') {
      const fields = c.do === 'put' ? c.document : { ...state.cut, ...(c.fields as object) };
      state = { ...state, cut: fields as BookState['cut'] };
      continue;
    }
    const list = LISTS[c.kind as keyof typeof LISTS];
    if (list === undefined) continue;
    const now: readonly Named[] = state[list];
    const id = c.do === 'put' ? (c.document as Named).id : c.id;
    const changed =
      c.do === 'remove'
        ? now.filter((d) => d.id !== id)
        : c.do === 'change'
          ? now.map((d) => (d.id === id ? { ...d, ...(c.fields as object) } : d))
          : [...now.filter((d) => d.id !== id), c.document as Named];
    state = { ...state, [list]: changed };
  }
  return state;
}
