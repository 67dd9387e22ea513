/** Runs entered jobs in processes of their own, a few at a time; jobs that wait for others come in later calls. */
import { spawn } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import type { Book } from '../book/book.js';
import { built } from '../core/built.js';
import { PlatewrightError } from '../core/errors.js';
import { enterJob, getJob, type JobKind, type JobRecord } from './job-store.js';

/** A job that waits for its turn. */
export interface QueuedJob {
  readonly kind: JobKind;
  readonly subject: string;
  readonly spec?: Record<string, unknown>;
}

/**
 * Does all jobs, `lanes` at a time. Returns their records in order; throws
 * `PW-JOB-FAILED` for the first that failed unless `keepOn`.
 */
export async function runQueue(
  book: Book,
  jobs: readonly QueuedJob[],
  lanes: number,
  onDone?: (done: number, total: number, job: JobRecord) => void,
  keepOn = false,
): Promise<JobRecord[]> {
  const main = fileURLToPath(built('programs/job-main.js'));
  const entered = jobs.map((j) => enterJob(book, j.kind, j.subject, j.spec ?? {}));
  let next = 0;
  let done = 0;
  const lane = async (): Promise<void> => {
    while (next < entered.length) {
      const job = entered[next++]!;
      // Each process keeps to one picture lane: the jobs themselves fill the cores.
      const child = spawn(process.execPath, [main, book.folder, job.id], {
        stdio: ['ignore', 'ignore', 'pipe'],
        env: { ...process.env, PLATEWRIGHT_LANES: String(Math.max(1, Math.floor(2 / lanes))) },
      });
      let words = '';
      child.stderr.on('data', (d: Buffer) => {
        words = (words + d.toString()).slice(-4000);
      });
      await new Promise<void>((settle) => child.on('exit', () => settle()));
      const after = getJob(book, job.id)!;
      onDone?.(++done, entered.length, after);
      if (after.state !== 'done' && !keepOn)
        throw new PlatewrightError(
          'PW-JOB-FAILED',
          `${after.kind} of ${after.subject || 'the production'}: ` +
            (after.error ?? (words.trim() || 'the process ended without an answer')),
          { kind: 'internal' },
        );
    }
  };
  await Promise.all(Array.from({ length: Math.max(1, Math.min(lanes, entered.length)) }, lane));
  return entered.map((j) => getJob(book, j.id)!);
}
