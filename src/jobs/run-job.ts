/**
 * Runs one job in this process: claims it, calls the stage's worker with progress and an
 * abort signal, writes the outcome. The stage's own output (frames already rendered, chunks
 * already scanned) is what a resumed job continues from.
 */
import type { Book } from '../book/book.js';
import { PlatewrightError } from '../core/errors.js';
import { fileTrouble } from '../core/file-trouble.js';
import { beatJob, claimJob, enterJob, finishJob, getJob, type JobKind, type JobRecord } from './job-store.js';
import { workerFor } from './workers.js';

/** What a worker is given. */
export interface JobContext {
  readonly book: Book;
  readonly job: JobRecord;
  readonly signal: AbortSignal;
  /** Reports progress; cheap to call every frame. Throws nothing. */
  progress(done: number, total: number, stage: string): void;
}

/** A stage's worker: reads documents and media, writes documents, returns a small result for the caller. */
export type JobWorker = (context: JobContext) => Promise<unknown>;

const BEAT_MS = 250;

/**
 * Runs an entered job to its end. Throws what the stage threw, after writing it to the job; `PW-JOB-BUSY` where another
 * process does it, `PW-JOB-STOPPED` where it was told to stop.
 */
export async function runJob(
  book: Book,
  id: string,
  onProgress?: (done: number, total: number, stage: string) => void,
  outer?: AbortSignal,
): Promise<unknown> {
  if (!claimJob(book, id)) {
    throw new PlatewrightError(
      'PW-JOB-BUSY',
      `job ${id} is already being done by another process; wait for it, or stop it in the workbench`,
      { kind: 'finding' },
    );
  }
  const job = getJob(book, id)!;
  const stop = new AbortController();
  outer?.addEventListener('abort', () => stop.abort());
  let last = 0;
  let state = { done: 0, total: 0, stage: 'starting' };
  const beat = (): void => {
    last = Date.now();
    try {
      if (beatJob(book, id, state.done, state.total, state.stage)) stop.abort();
    } catch {
      // A full disk, a book held by somebody else: a beat is left out. Where the work
      // itself can't go on, its own error tells.
    }
  };
  /**
   * The work's error is what is told, also where the book can't take it down: then the job is given back when this
   * process is gone.
   */
  const settle = (outcome: Parameters<typeof finishJob>[2]): void => {
    try {
      finishJob(book, id, outcome, process.pid);
    } catch {
      // See above.
    }
  };
  // Long silent stretches (a solver, a library call) must not look like a dead process.
  const timer = setInterval(beat, 2000);
  timer.unref();
  try {
    const worker = await workerFor(job.kind);
    const result = await worker({
      book,
      job,
      signal: stop.signal,
      progress: (done, total, stage) => {
        state = { done, total, stage };
        onProgress?.(done, total, stage);
        if (Date.now() - last >= BEAT_MS) beat();
      },
    });
    clearInterval(timer);
    beatJob(book, id, state.total, state.total, 'done');
    finishJob(book, id, { state: 'done', result }, process.pid);
    return result;
  } catch (thrown) {
    clearInterval(timer);
    const error = fileTrouble(thrown, book.folder) ?? thrown;
    if (stop.signal.aborted) {
      settle({ state: 'stopped' });
      throw new PlatewrightError(
        'PW-JOB-STOPPED',
        `the ${job.kind} of ${job.subject || 'the production'} was stopped at ${state.done} of ${state.total}; ` +
          'the same command goes on from there',
        { kind: 'finding', cause: error },
      );
    }
    settle({ state: 'failed', error: error instanceof Error ? error.message : String(error) });
    throw error;
  }
}

/** Enters and runs a job at once: what a command of the command line does. */
export async function doJob(
  book: Book,
  kind: JobKind,
  subject: string,
  spec: Record<string, unknown>,
  onProgress?: (done: number, total: number, stage: string) => void,
  signal?: AbortSignal,
): Promise<unknown> {
  const job = enterJob(book, kind, subject, spec);
  return runJob(book, job.id, onProgress, signal);
}
