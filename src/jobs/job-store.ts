/**
 * Jobs as rows of the book, so that the command line and the workbench see the same work, a killed job is found again,
 * and stopping works across processes. A job is owned by the process whose pid and heartbeat it carries.
 */
import { randomUUID } from 'node:crypto';
import type { Book } from '../book/book.js';
import { hasDied } from './job-process.js';
import { turnOf } from './job-turn.js';
import { PlatewrightError } from '../core/errors.js';

export type JobKind =
  | 'scan'
  | 'measure'
  | 'brief'
  | 'verdict'
  | 'outline'
  | 'quick'
  | 'join'
  | 'inspect'
  | 'day'
  | 'deliver'
  | 'reveal';
export type JobState = 'waiting' | 'running' | 'done' | 'failed' | 'stopped';

export interface JobRecord {
  readonly id: string;
  readonly kind: JobKind;
  /** Id of the document it works on (a film, a pick, a take), or '' for the whole production. */
  readonly subject: string;
  readonly spec: Readonly<Record<string, unknown>>;
  readonly state: JobState;
  readonly done: number;
  readonly total: number;
  /** What is being done just now, in a few words. */
  readonly stage: string;
  readonly error: string | null;
  readonly result: unknown;
  readonly createdMs: number;
  /** It was asked to stop and does so at its next frame. */
  readonly stopping: boolean;
}

interface Row {
  readonly [column: string]: unknown;
}

function toRecord(r: Row): JobRecord {
  return {
    id: String(r['id']),
    kind: String(r['kind']) as JobKind,
    subject: String(r['subject']),
    spec: JSON.parse(String(r['spec'])) as Record<string, unknown>,
    state: String(r['state']) as JobState,
    done: Number(r['done']),
    total: Number(r['total']),
    stage: String(r['stage']),
    error: r['error'] === null ? null : String(r['error']),
    result: r['result'] === null ? null : JSON.parse(String(r['result'])),
    createdMs: Number(r['created']),
    stopping: r['state'] === 'running' && Number(r['stop_asked']) === 1,
  };
}

/** Enters a job. A waiting or running job of the same kind, subject and spec is returned instead of a second one. */
export function enterJob(book: Book, kind: JobKind, subject: string, spec: Record<string, unknown>): JobRecord {
  return book.immediate(() => {
    const text = JSON.stringify(spec);
    const same = book.db
      .prepare(
        "SELECT * FROM job WHERE kind = ? AND subject = ? AND spec = ? AND state IN ('waiting', " +
          "'running') ORDER BY created LIMIT 1",
      )
      .get(kind, subject, text) as Row | undefined;
    if (same !== undefined) return toRecord(same);
    const id = randomUUID();
    book.db
      .prepare("INSERT INTO job (id, kind, subject, spec, state, created) VALUES (?, ?, ?, ?, 'waiting', ?)")
      .run(id, kind, subject, text, Date.now());
    return toRecord(book.db.prepare('SELECT * FROM job WHERE id = ?').get(id) as Row);
  });
}

/** One job by its id; null where there is none. */
export function getJob(book: Book, id: string): JobRecord | null {
  const row = book.db.prepare('SELECT * FROM job WHERE id = ?').get(id) as Row | undefined;
  return row === undefined ? null : toRecord(row);
}

/** Newest first. */
export function listJobs(book: Book, limit = 60): JobRecord[] {
  return (book.db.prepare('SELECT * FROM job ORDER BY created DESC, rowid DESC LIMIT ?').all(limit) as Row[]).map(
    toRecord,
  );
}

/**
 * Takes a waiting job (or a running one whose process is gone) for this process. False where somebody else has it.
 * Throws `PW-JOB-NO-SUCH`.
 */
export function claimJob(book: Book, id: string): boolean {
  return book.immediate(() => {
    const row = book.db.prepare('SELECT state, pid, heartbeat FROM job WHERE id = ?').get(id) as Row | undefined;
    if (row === undefined) throw new PlatewrightError('PW-JOB-NO-SUCH', `there is no job ${id}`, { kind: 'usage' });
    const dead = row['state'] === 'running' && hasDied(id, Number(row['pid']), Number(row['heartbeat']));
    if (row['state'] !== 'waiting' && !dead) return false;
    book.db
      .prepare("UPDATE job SET state = 'running', pid = ?, heartbeat = ?, error = NULL WHERE id = ?")
      .run(process.pid, Date.now(), id);
    return true;
  });
}

/** Gives jobs of dead processes back to the queue; returns the waiting jobs in their turn (job-turn.ts). */
export function recoverJobs(book: Book): JobRecord[] {
  return book.immediate(() => {
    const running = book.db.prepare("SELECT id, pid, heartbeat FROM job WHERE state = 'running'").all() as Row[];
    for (const r of running) {
      if (hasDied(String(r['id']), Number(r['pid']), Number(r['heartbeat'])))
        book.db.prepare("UPDATE job SET state = 'waiting', pid = NULL WHERE id = ?").run(String(r['id']));
    }
    // The sort is stable: within one turn the oldest comes first.
    return (book.db.prepare("SELECT * FROM job WHERE state = 'waiting' ORDER BY created, rowid").all() as Row[])
      .map(toRecord)
      .sort((a, b) => turnOf(a.kind) - turnOf(b.kind));
  });
}

/** Whether a job is marked as running whose process is gone: `recoverJobs` gives it back to the queue. */
export function hasOrphans(book: Book): boolean {
  const running = book.db.prepare("SELECT id, pid, heartbeat FROM job WHERE state = 'running'").all() as Row[];
  return running.some((r) => hasDied(String(r['id']), Number(r['pid']), Number(r['heartbeat'])));
}

/**
 * Records progress and the heartbeat of the job that this process claimed. Returns true where it is to stop: it was
 * asked to, or another process has the job now.
 */
export function beatJob(book: Book, id: string, done: number, total: number, stage: string): boolean {
  return book.immediate(() => {
    const { changes } = book.db
      .prepare('UPDATE job SET done = ?, total = ?, stage = ?, heartbeat = ? WHERE id = ? AND pid = ?')
      .run(Math.round(done), Math.round(total), stage, Date.now(), id, process.pid);
    if (changes === 0) return true;
    const row = book.db.prepare('SELECT stop_asked FROM job WHERE id = ?').get(id) as Row;
    return Number(row['stop_asked']) === 1;
  });
}

/**
 * Notes how a job ended, and frees it from its process.
 * @param by process that it has to be claimed by; else nothing is noted. Any where it is left out
 */
export function finishJob(
  book: Book,
  id: string,
  outcome: { state: 'done'; result: unknown } | { state: 'failed'; error: string } | { state: 'stopped' },
  by?: number,
): void {
  book.immediate(() => {
    const error = outcome.state === 'failed' ? outcome.error : null;
    const result = outcome.state === 'done' ? JSON.stringify(outcome.result ?? null) : null;
    book.db
      .prepare(
        'UPDATE job SET state = ?, error = ?, result = ?, pid = NULL, heartbeat = NULL ' +
          'WHERE id = ? AND (? IS NULL OR pid = ?)',
      )
      .run(outcome.state, error, result, id, by ?? null, by ?? null);
  });
}

/** Asks a job to stop: a waiting one stops at once, a running one at its next frame. */
export function stopJob(book: Book, id: string): void {
  book.immediate(() => {
    book.db.prepare('UPDATE job SET stop_asked = 1 WHERE id = ?').run(id);
    book.db.prepare("UPDATE job SET state = 'stopped' WHERE id = ? AND state = 'waiting'").run(id);
  });
}

/**
 * Stops what waits or runs for a film, pick or take that is not in the book any more (taken out, or its entry taken
 * back): such a job could only fail.
 */
export function stopStrayJobs(book: Book): void {
  const open = book.db
    .prepare(
      "SELECT id, subject FROM job WHERE subject <> '' AND (state = 'waiting' OR (state = 'running' AND stop_asked = 0))",
    )
    .all() as Row[];
  for (const { id, subject } of open) {
    const there = (['film', 'pick', 'take'] as const).some((kind) => book.get(kind, String(subject)) !== null);
    if (!there) stopJob(book, String(id));
  }
}

/** Puts a stopped or failed job back into the queue; what it had finished is found again by the stage itself. */
export function resumeJob(book: Book, id: string): void {
  book.immediate(() => {
    book.db
      .prepare(
        "UPDATE job SET state = 'waiting', stop_asked = 0, error = NULL WHERE id = ? AND state IN ('stopped', " +
          "'failed')",
      )
      .run(id);
  });
}

/**
 * A text that changes whenever one of the newest `limit` jobs does: who watches asks for this first. Told job by job, as
 * sums over all of them stay the same where one job fails in the moment in which the next one begins.
 */
export function jobsPulse(book: Book, limit = 60): string {
  const rows = book.db
    .prepare(
      'SELECT id, state, done, total, stage, stop_asked, error IS NULL AS fine FROM job ' +
        'ORDER BY created DESC, rowid DESC LIMIT ?',
    )
    .all(limit) as Row[];
  return rows.map((r) => Object.values(r).join(' ')).join('\n');
}
