/**
 * `demo`: makes the demo production from the media that ship with the project and runs the whole job on
 * it: scan, picks, marks, measures, briefs, day, takes, verdicts, joins, inspections, cut, delivery,
 * reveal, ledger. Stopped, it goes on where it was.
 */
import { existsSync, readFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import type { Command } from 'commander';
import { BOOK_FILE, Book } from '../../book/book.js';
import { built } from '../../core/built.js';
import { PlatewrightError } from '../../core/errors.js';
import { ledgerOf } from '../../jobs/ledger-of.js';
import { firstIssue } from '../../plate/marks/marks.js';
import { faultsOf, joinsOf, outcomeWords } from '../demo-outcome.js';
import { runDemo, type DemoList } from '../demo-run.js';
import { action, answer } from '../output.js';
import { enter, listSchema } from '../demo-production.js';

/**
 * Adds `demo`: makes a production of its own in the folder named. Its action throws `PW-DEMO-FORM`, `PW-DEMO-MISSING`,
 * and what the stage throws.
 */
export function register(program: Command): void {
  program
    .command('demo')
    .description('Make the demo production, run the whole job on it, and show what came out.')
    .option('-p, --production <folder>', 'where to make it', 'demo-production')
    .option('--media <folder>', "folder of the demo's list and media; the project's own unless told")
    .option('--json', 'one JSON document')
    .action(
      action(async (o: { production: string; media?: string; json?: boolean }) => {
        const media = resolve(o.media ?? fileURLToPath(built('../demo')));
        const list = readList(media);
        const from = Date.now();
        const say = (text: string): void => {
          process.stderr.write(`[${((Date.now() - from) / 1000).toFixed(0).padStart(4)} s] ${text}\n`);
        };
        const folder = resolve(o.production);
        const book = existsSync(join(folder, BOOK_FILE)) ? Book.open(folder) : Book.create(folder);
        try {
          await enter(book, list, media, say);
          await runDemo(book, list, say);
          const faults = faultsOf(book, list);
          const joins = joinsOf(book, list);
          const deliveries = book
            .list('delivery')
            .map((d) => ({ id: d.id, files: d.files.map((f) => book.mediaPath(f)) }));
          const ledger = ledgerOf(book).borrowed;
          const seconds = (Date.now() - from) / 1000;
          say('done');
          answer(o, { folder, seconds, faults, joins, deliveries, ledger: ledger.totals }, outcomeWords);
          return 0;
        } finally {
          book.close();
        }
      }),
    );
}

/** The demo's list beside its media. Throws `PW-DEMO-MISSING`, `PW-DEMO-FORM`. */
function readList(media: string): DemoList {
  const listFile = join(media, 'production.json');
  if (!existsSync(listFile))
    throw new PlatewrightError(
      'PW-DEMO-MISSING',
      `there is no demo list at ${listFile}; it ships with the project's own folder`,
    );
  const parsed = listSchema.safeParse(JSON.parse(readFileSync(listFile, 'utf8')));
  if (!parsed.success) throw new PlatewrightError('PW-DEMO-FORM', `${listFile}: ${firstIssue(parsed.error)}`);
  return parsed.data;
}
