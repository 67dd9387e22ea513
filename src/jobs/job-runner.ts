/**
 * Does the waiting jobs of a production one after another, each in a process of its own (see job-main.ts), so that a
 * crash takes down a job and never the service. Jobs whose process died are found again on start and continued.
 */
import { spawn, type ChildProcess } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import type { Book } from '../book/book.js';
import { built } from '../core/built.js';
import { finishJob, getJob, hasOrphans, recoverJobs, stopStrayJobs, type JobRecord } from './job-store.js';
import { turnOf } from './job-turn.js';

/** How often a job may crash its process before it counts as failed. */
const MAX_CRASHES = 2;
/**
 * How often it is looked for jobs that another, earlier service began and whose process has died since, and for those
 * whose film, pick or take is gone.
 */
const WATCH_MS = 5000;
/** How long a job that was asked to stop may take to heed it, from the first time that this is seen. */
const STOP_MS = 8000;

/** A quick join of which so much is done ends before it would have been made anew. */
const NEARLY_DONE = 0.75;

/** One a book: `wake` it after a job was put in; `close` stops the job's process, which goes on at the next start. */
export class JobRunner {
  private readonly book: Book;
  private readonly crashes = new Map<string, number>();
  private child: ChildProcess | null = null;
  /** Job of that process, and since when it has been asked to stop, ms; null where it was not. */
  private doing: { readonly id: string; stopAskedMs: number | null; gaveWay: boolean } | null = null;
  private closing = false;
  private readonly watch: ReturnType<typeof setInterval>;

  constructor(book: Book) {
    this.book = book;
    this.watch = setInterval(() => {
      stopStrayJobs(this.book);
      this.endWhatDoesNotStop();
      if (this.child === null && hasOrphans(this.book)) this.wake();
    }, WATCH_MS);
    this.watch.unref();
  }

  /**
   * Starts the next waiting job where none is being done. Call after entering one, after a film or take was taken out,
   * and once at the start.
   */
  wake(): void {
    if (this.closing) return;
    // First what a dead process left goes back into the queue: it may be of something that is gone.
    recoverJobs(this.book);
    stopStrayJobs(this.book);
    const next = recoverJobs(this.book)[0];
    if (next === undefined) return;
    if (this.child !== null) {
      this.giveWay(next);
      return;
    }
    const main = fileURLToPath(built('programs/job-main.js'));
    const child = spawn(process.execPath, [main, this.book.folder, next.id], {
      stdio: ['ignore', 'inherit', 'inherit'],
    });
    this.child = child;
    this.doing = { id: next.id, stopAskedMs: null, gaveWay: false };
    child.on('exit', (code, signal) => {
      const gaveWay = this.doing?.gaveWay === true;
      this.child = null;
      this.doing = null;
      if (this.closing) return;
      const after = getJob(this.book, next.id);
      if (after?.stopping === true) finishJob(this.book, next.id, { state: 'stopped' });
      else if (!gaveWay && after !== null && (after.state === 'running' || after.state === 'waiting')) {
        const n = (this.crashes.get(next.id) ?? 0) + 1;
        this.crashes.set(next.id, n);
        if (n >= MAX_CRASHES)
          finishJob(this.book, next.id, {
            state: 'failed',
            error:
              `PW-JOB-CRASHED: the process ended without an answer (${signal ?? `exit code ${code}`}) ${n} times; ` +
              'the media it reads may be damaged',
          });
      }
      setTimeout(() => this.wake(), 30);
    });
  }

  /**
   * A quick join, which nobody asked for, does not keep waiting what somebody did: its process ends, it goes back into
   * the queue and is made from its beginning once that is done.
   */
  private giveWay(next: JobRecord): void {
    const doing = this.doing === null ? null : getJob(this.book, this.doing.id);
    if (doing === null || this.doing!.gaveWay || turnOf(next.kind) >= turnOf(doing.kind)) return;
    // Of what was asked for, an outline that came later lets the work in hand be finished.
    if (doing.kind !== 'quick' || (doing.total > 0 && doing.done >= NEARLY_DONE * doing.total)) return;
    this.doing!.gaveWay = true;
    this.child?.kill('SIGKILL');
  }

  /**
   * Work that heeds no word for long (an erase being prepared, a solver) is ended with its process: what it had
   * finished is kept, and it goes on from there as after a crash.
   */
  private endWhatDoesNotStop(): void {
    if (this.doing === null || getJob(this.book, this.doing.id)?.stopping !== true) return;
    this.doing.stopAskedMs ??= Date.now();
    if (Date.now() - this.doing.stopAskedMs >= STOP_MS) this.child?.kill('SIGKILL');
  }

  close(): void {
    this.closing = true;
    clearInterval(this.watch);
    this.child?.kill();
  }
}
