/** The whole book as the workbench shows it, in one answer. */
import type { Book } from '../book/book.js';
import { listJobs } from '../jobs/job-store.js';
import { quickJoins } from '../jobs/quick-clip.js';
import { staleOf } from '../jobs/stale.js';
import { missingMusic } from '../jobs/missing-music.js';
import { ledgerOf } from '../jobs/ledger-of.js';
import { missingMedia } from '../book/film-place.js';
import { settingsOf } from '../book/settings.js';
import { studioOf } from '../book/studio.js';
import type { BookState } from './api-types.js';

/** The book as it is now; its `pulse` changes with every edit. */
export function bookState(book: Book): BookState {
  const byId = <K extends 'measures' | 'brief'>(kind: K, field: string): Record<string, never> =>
    Object.fromEntries(book.list(kind).map((d) => [d.id, (d as unknown as Record<string, unknown>)[field]])) as Record<
      string,
      never
    >;
  return {
    pulse: `${book.pulse()}`,
    production: book.need('production', 'production'),
    films: book.list('film'),
    picks: book.list('pick').sort((a, b) => a.order - b.order),
    takes: book.list('take'),
    joins: book.list('join'),
    moments: book.list('moment'),
    cut: book.get('cut', 'cut'),
    measures: byId('measures', 'measures'),
    briefs: byId('brief', 'brief'),
    day: book.list('day')[0]?.plan ?? null,
    quick: quickJoins(book),
    deliveries: book.list('delivery'),
    settings: settingsOf(book),
    studio: studioOf(book),
    stale: staleOf(book),
    missing: { ...missingMedia(book), ...(missingMusic(book) === null ? {} : { music: true }) },
    ledger: ledgerOf(book),
    history: book.history(30),
    jobs: listJobs(book, 40),
  };
}
