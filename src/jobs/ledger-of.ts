/** The book's ledger: the cut's borrowings with what was spent. */
import type { Book } from '../book/book.js';
import { nameAmong } from '../book/titles.js';
import { makeLedger, type Ledger } from '../cut/ledger.js';
import { placeItems } from '../cut/programme.js';
import { rate } from '../core/rational.js';
import { resolveCut } from './resolve-cut.js';

/** The ledger of a production. */
export interface BookLedger {
  readonly spent: readonly {
    readonly id: string;
    readonly date: string;
    readonly what: string;
    readonly minutes: number;
    readonly money: number;
    readonly currency: string;
  }[];
  readonly purposes: readonly { readonly id: string; readonly text: string }[];
  readonly borrowed: Ledger;
}

/** What was spent, what each use is for, and what the cut as it stands borrows. */
export function ledgerOf(book: Book): BookLedger {
  const spent = book.list('spent');
  const purposes = book.list('purpose');
  const { programme: whole } = resolveCut(book);
  // A line trimmed to nothing borrows nothing: the page opens all the same, and says it beside the line.
  const programme = { ...whole, items: whole.items.filter((i) => i.out > i.in) };
  const all = book.list('film');
  const films = all.map((f) => ({
    id: f.id,
    title: nameAmong(all, f),
    credit: f.credit,
    licence: f.licence,
    frames: f.info.video?.frameCount ?? 0,
    rate: f.info.video?.rate ?? rate(24),
  }));
  const placed = programme.items.length === 0 ? [] : placeItems(programme);
  return {
    spent,
    purposes,
    borrowed: makeLedger(placed, programme.rate, films, Object.fromEntries(purposes.map((p) => [p.id, p.text])), spent),
  };
}
