/** `ledger`: what was borrowed and spent. */
import { writeFileSync } from 'node:fs';
import type { Command } from 'commander';
import { makeId } from '../../book/documents.js';
import { ledgerCsv } from '../../cut/ledger.js';
import { PlatewrightError } from '../../core/errors.js';
import { ledgerOf } from '../../jobs/ledger-of.js';
import { action, answer, table } from '../output.js';
import { onProduction, withBook, type ProductionOptions } from '../production.js';

interface Options extends ProductionOptions {
  csv?: string;
  spent?: string;
  minutes?: string;
  money?: string;
  currency: string;
  date?: string;
  purpose?: string;
  for?: string;
}

/**
 * Adds `ledger`: shows what was borrowed, or notes what was spent and for which purpose. Its action throws
 * `PW-CLI-NUMBER`, `PW-CLI-USAGE`, and what the stage throws.
 */
export function register(program: Command): void {
  onProduction(
    program
      .command('ledger')
      .description(
        'What was borrowed, from where, for how long and why, and what was spent. A record, no legal advice.',
      )
      .option('--csv <file>', 'also write it as CSV')
      .option('--spent <what>', 'note what was spent')
      .option('--minutes <n>')
      .option('--money <n>')
      .option('--currency <code>', 'three letters', 'EUR')
      .option('--date <date>')
      .option('--purpose <text>', 'why a film or pick is used')
      .option('--for <id>', 'the film or pick that --purpose speaks of'),
  ).action(
    action(async (o: Options) =>
      withBook(o, async (book) => {
        if (o.spent !== undefined) {
          const minutes = Number(o.minutes ?? 0);
          const money = Number(o.money ?? 0);
          if (!(minutes >= 0) || !(money >= 0))
            throw new PlatewrightError('PW-CLI-NUMBER', '--minutes and --money take numbers from 0', { kind: 'usage' });
          book.edit(`note ${o.spent}`, (e) =>
            e.put('spent', {
              id: makeId(`spent-${o.spent!}`, (i) => e.get('spent', i) !== null),
              date: o.date ?? new Date().toISOString().slice(0, 10),
              what: o.spent!,
              minutes,
              money,
              currency: o.currency,
            }),
          );
        }
        if (o.purpose !== undefined) {
          if (o.for === undefined || (book.get('film', o.for) === null && book.get('pick', o.for) === null))
            throw new PlatewrightError('PW-CLI-USAGE', '--purpose goes with --for FILM or --for PICK', {
              kind: 'usage',
            });
          book.edit(`purpose of ${o.for}`, (e) => e.put('purpose', { id: o.for!, text: o.purpose! }));
        }
        const l = ledgerOf(book);
        if (o.csv !== undefined) writeFileSync(o.csv, ledgerCsv(l.borrowed));
        answer(o, l, (d) =>
          [
            table([
              ['film', 'frames', 'seconds', 'of film', 'of short', 'what'],
              ...d.borrowed.uses.map((u) => [
                u.title,
                `${u.in}–${u.out}`,
                u.seconds.toFixed(1),
                `${(100 * u.shareOfFilm).toFixed(2)} %`,
                `${(100 * u.shareOfShort).toFixed(1)} %`,
                `${u.what}, ${u.changed ? 'joined' : 'as it is'}`,
              ]),
            ]),
            ...d.borrowed.totals.map(
              (t) =>
                `${t.title}: ${t.seconds.toFixed(1)} s in ${t.uses === 1 ? '1 use' : `${t.uses} uses`}, ` +
                `${(100 * t.shareOfFilm).toFixed(2)} % of the film`,
            ),
            `spent: ${d.borrowed.spent.minutes} ` +
              `min${d.borrowed.spent.money.map((m) => `, ${m.amount.toFixed(2)} ${m.currency}`).join('')}`,
            d.borrowed.statement,
          ].join('\n'),
        );
      }),
    ),
  );
}
