/**
 * How every command answers: with `--json` exactly one JSON document on stdout and progress on
 * stderr; without it, plain sentences and tables on stdout. Errors go to stderr with their code;
 * with `--json` also as {"error":{...}} on stdout.
 */
import { PlatewrightError, exitCodeOf } from '../core/errors.js';
import { fileTrouble } from '../core/file-trouble.js';

export interface OutputOptions {
  readonly json?: boolean;
}

/** Prints a command's answer: the document itself with `--json`, else what `plain` makes of it. */
export function answer<T>(options: OutputOptions, document: T, plain: (document: T) => string): void {
  if (options.json) process.stdout.write(`${JSON.stringify(document, jsonNumber)}\n`);
  else process.stdout.write(`${plain(document).replace(/\n+$/, '')}\n`);
}

/** Non-finite numbers have no JSON form; they become null rather than a broken document. */
function jsonNumber(_key: string, value: unknown): unknown {
  if (typeof value === 'number' && !Number.isFinite(value)) return null;
  if (value instanceof Float32Array || value instanceof Float64Array) return [...value];
  return value;
}

/** Work that has gone on for less, or that ends sooner, is not told how long it will take, seconds. */
const LONG = 20;

/**
 * How long counted work will take from here on if it goes on as it has: empty where it is soon over, or has begun too
 * lately to tell.
 * @param spent seconds since it began
 * @param share of it that is done, 0..1
 */
export function timeLeftInWords(spent: number, share: number): string {
  const left = share <= 0 ? 0 : (spent * (1 - share)) / share;
  if (spent < LONG || left < LONG) return '';
  const minutes = Math.round(left / 60);
  return minutes < 1 ? ', under a minute left' : `, about ${minutes} min left`;
}

/**
 * A progress line on stderr, rewritten in place on a terminal, printed every tenth part otherwise; of long work with how
 * long it will take.
 */
export function progressPrinter(what: string): (done: number, total: number) => void {
  let last = -1;
  const began = performance.now();
  const tty = process.stderr.isTTY === true;
  return (done, total) => {
    const share = total > 0 ? Math.min(1, done / total) : 0;
    const step = tty ? Math.floor(share * 100) : Math.floor(share * 10) * 10;
    if (step === last) return;
    last = step;
    const left = timeLeftInWords((performance.now() - began) / 1000, share),
      line = `${what}: ${step} % (${done} of ${total}${left})`;
    process.stderr.write(tty ? `\r\x1b[2K${line}${share >= 1 ? '\n' : ''}` : `${line}\n`);
  };
}

/** Says on stderr what is waited for that has no count of its own. */
export function sayWaiting(what: string): void {
  process.stderr.write(`${what} …\n`);
}

/**
 * A path or name as a word of a command line that can be copied: quoted where a shell would split or read it otherwise.
 */
export function shellWord(word: string): string {
  return /^[\p{L}\p{N}_@%+=:,./-]+$/u.test(word) ? word : `'${word.replace(/'/g, "'\\''")}'`;
}

/** Which job a progress line speaks of: its kind, and its subject where it has one (a delivery has none). */
export function jobName(kind: string, subject: string): string {
  return subject === '' ? kind : `${kind} ${subject}`;
}

/** Wraps a command's action so that every failure ends in one readable line and the right exit code. */
export function action<A extends unknown[]>(fn: (...args: A) => Promise<number | void>): (...args: A) => Promise<void> {
  return async (...args: A) => {
    try {
      const code = await fn(...args);
      if (typeof code === 'number') process.exitCode = code;
    } catch (thrown) {
      const error = fileTrouble(thrown) ?? thrown;
      reportError(error, wantsJson(args));
      process.exitCode = exitCodeOf(error);
    }
  };
}

function wantsJson(args: unknown[]): boolean {
  return (
    process.argv.includes('--json') ||
    args.some((a) => typeof a === 'object' && a !== null && (a as OutputOptions).json === true)
  );
}

/**
 * Tells an error on stderr, with `json` on stdout too. One without a code of ours counts as `PW-INTERNAL`; its stack is
 * shown where `PLATEWRIGHT_DEBUG` is set.
 */
export function reportError(error: unknown, json: boolean): void {
  const known = error instanceof PlatewrightError;
  const message = error instanceof Error ? error.message : String(error);
  const code = known ? error.code : 'PW-INTERNAL';
  process.stderr.write(`${known ? message : `PW-INTERNAL: ${message}`}\n`);
  if (!known && error instanceof Error && process.env['PLATEWRIGHT_DEBUG'])
    process.stderr.write(`${error.stack ?? ''}\n`);
  if (json) answerError(code, message, known ? error.detail : {});
}

/** The document that a command answers with `--json` where it fails. */
export function answerError(code: string, message: string, detail: unknown = {}): void {
  process.stdout.write(`${JSON.stringify({ error: { code, message, detail } })}\n`);
}

/** A cell that is read as a number, with or without a unit: it stands to the right of its column. */
const NUMBER = /^(?:[-+−]?\d[\d.,–:/ ]*(?:±\s*[\d.]+)?\s*(?:[a-zA-Z%°²/]{1,9})?)$/;

/**
 * Plain table: numbers to the right, words to the left. Words of a last column that would run over `width` characters
 * go on in lines of their own below it, so that a row of reasons can be read in any window.
 */
export function table(
  rows: readonly (readonly string[])[],
  width: number = Math.max(60, process.stdout.columns ?? 120),
): string {
  const widths: number[] = [];
  const numeric: boolean[] = [];
  for (const [n, r] of rows.entries()) {
    r.forEach((c, i) => {
      widths[i] = Math.max(widths[i] ?? 0, c.length);
      // The first row may be a heading: it does not decide.
      if ((n > 0 || rows.length === 1) && c !== '' && c !== '–') numeric[i] = (numeric[i] ?? true) && NUMBER.test(c);
    });
  }
  const last = widths.length - 1;
  const before = widths.slice(0, last).reduce((sum, w) => sum + w + 2, 0);
  // Where the columns before leave it no room, its words stand below, indented.
  const below = width - before < 40;
  const indent = below ? 6 : before;
  const room = width - indent;
  return rows
    .map((r) => {
      const line = r.map((c, i) =>
        i > 0 && numeric[i] === true ? c.padStart(widths[i]!) : i === last ? c : c.padEnd(widths[i]!),
      );
      const words = r.length - 1 === last && numeric[last] !== true ? wrapped(r[last]!, room) : null;
      if (words === null || r[last]!.length <= width - before) return line.join('  ').trimEnd();
      if (below)
        return [line.slice(0, last).join('  ').trimEnd(), ...words.map((w) => ' '.repeat(indent) + w)].join('\n');
      return (
        [...line.slice(0, last), words[0]!].join('  ') +
        words
          .slice(1)
          .map((w) => `\n${' '.repeat(indent)}${w}`)
          .join('')
      );
    })
    .join('\n');
}

/** Words broken into lines of at most `room` characters where there is a space to break at. */
function wrapped(text: string, room: number): string[] {
  const lines: string[] = [];
  for (const word of text.split(' ')) {
    const last = lines[lines.length - 1];
    if (last !== undefined && last.length + 1 + word.length <= room) lines[lines.length - 1] = `${last} ${word}`;
    else lines.push(word);
  }
  return lines;
}
