/**
 * How every command answers: with `--json` exactly one JSON document on stdout and progress on stderr; without it, plain
 * sentences and tables on stdout. Errors go to stderr with their code; with `--json` also as {"error":{...}} on stdout.
 */
import { PlatewrightError, exitCodeOf } from '../core/errors.js';

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

/** A progress line on stderr, rewritten in place on a terminal, printed every tenth part otherwise. */
export function progressPrinter(what: string): (done: number, total: number) => void {
  let last = -1;
  const tty = process.stderr.isTTY === true;
  return (done, total) => {
    const share = total > 0 ? Math.min(1, done / total) : 0;
    const step = tty ? Math.floor(share * 100) : Math.floor(share * 10) * 10;
    if (step === last) return;
    last = step;
    const line = `${what}: ${step} % (${done} of ${total})`;
    process.stderr.write(tty ? `\r${line}${share >= 1 ? '\n' : ''}` : `${line}\n`);
  };
}

/** Wraps a command's action so that every failure ends in one readable line and the right exit code. */
export function action<A extends unknown[]>(fn: (...args: A) => Promise<number | void>): (...args: A) => Promise<void> {
  return async (...args: A) => {
    try {
      const code = await fn(...args);
      if (typeof code === 'number') process.exitCode = code;
    } catch (error) {
      reportError(error, wantsJson(args));
      process.exitCode = exitCodeOf(error);
    }
  };
}

function wantsJson(args: unknown[]): boolean {
  return process.argv.includes('--json') || args.some((a) => typeof a === 'object' && a !== null && (a as OutputOptions).json === true);
}

export function reportError(error: unknown, json: boolean): void {
  const known = error instanceof PlatewrightError;
  const message = error instanceof Error ? error.message : String(error);
  const code = known ? error.code : 'PW-INTERNAL';
  process.stderr.write(`${known ? message : `PW-INTERNAL: ${message}`}\n`);
  if (!known && error instanceof Error && process.env['PLATEWRIGHT_DEBUG']) process.stderr.write(`${error.stack ?? ''}\n`);
  if (json) process.stdout.write(`${JSON.stringify({ error: { code, message, detail: known ? error.detail : {} } })}\n`);
}

/** Right-aligned plain table. */
export function table(rows: readonly (readonly string[])[]): string {
  const widths: number[] = [];
  for (const r of rows) r.forEach((c, i) => { widths[i] = Math.max(widths[i] ?? 0, c.length); });
  return rows.map((r) => r.map((c, i) => (i === 0 ? c.padEnd(widths[i]!) : c.padStart(widths[i]!))).join('  ').trimEnd()).join('\n');
}
