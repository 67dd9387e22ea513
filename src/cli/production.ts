/** What commands on a production share: where it is, opening and closing its book, running a job with progress. */
import { existsSync } from 'node:fs';
import { join, relative, resolve } from 'node:path';
import type { Command } from 'commander';
import { BOOK_FILE, Book } from '../book/book.js';
import { PlatewrightError } from '../core/errors.js';
import { doJob } from '../jobs/run-job.js';
import type { JobKind } from '../jobs/job-store.js';
import { jobName } from './output.js';

/** Options of every command on a production, as `onProduction` adds them. */
export interface ProductionOptions {
  readonly production?: string;
  readonly json?: boolean;
}

/** Adds the options that every command on a production takes. */
export function onProduction(command: Command): Command {
  return command
    .option('-p, --production <folder>', "the production's folder; the current one where it holds a book")
    .option('--json', 'one JSON document on stdout');
}

/** Opens the production's book, runs `work`, closes it whatever happens. */
export async function withBook<T>(options: ProductionOptions, work: (book: Book) => Promise<T>): Promise<T> {
  const folder = resolve(options.production ?? process.env['PLATEWRIGHT_PRODUCTION'] ?? '.');
  if (!existsSync(join(folder, BOOK_FILE))) {
    throw new PlatewrightError(
      'PW-BOOK-MISSING',
      `there is no production in ${folder}; go to its folder, name it with --production, ` +
        'or start one with "platewright new FOLDER"',
      { kind: 'usage' },
    );
  }
  const book = Book.open(folder);
  try {
    return await work(book);
  } finally {
    book.close();
  }
}

/**
 * A file of the production as it is called from the folder where the command was given: what is printed can then be
 * opened as it stands. The book's own paths, which `--json` gives, count from the production's folder.
 */
export function fromHere(book: Book, stored: string): string {
  const file = book.mediaPath(stored);
  const near = relative(process.cwd(), file);
  return near.startsWith('..') ? file : near;
}

/** Runs a job in this process, its progress on stderr; the first Ctrl-C stops it cleanly at the next frame. */
export async function runWithProgress(
  book: Book,
  kind: JobKind,
  subject: string,
  spec: Record<string, unknown> = {},
): Promise<unknown> {
  const stop = new AbortController();
  const onSignal = (): void => {
    process.stderr.write('\nstopping after this frame…\n');
    stop.abort();
  };
  process.once('SIGINT', onSignal);
  let shown = '';
  const tty = process.stderr.isTTY === true;
  try {
    return await doJob(
      book,
      kind,
      subject,
      spec,
      (done, total, stage) => {
        const share = total > 0 ? Math.floor((100 * done) / total) : 0;
        const line = `${jobName(kind, subject)}: ${stage} ${tty ? share : Math.floor(share / 25) * 25} %`;
        if (line === shown) return;
        shown = line;
        process.stderr.write(tty ? `\r\x1b[2K${line}` : `${line}\n`);
      },
      stop.signal,
    );
  } finally {
    if (tty && shown !== '') process.stderr.write('\n');
    process.removeListener('SIGINT', onSignal);
  }
}
