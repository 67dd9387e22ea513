/**
 * Jobs on a real book with real processes: claimed once, stopped, resumed, and killed by SIGKILL at seeded shares of a
 * scan, which must find what an undisturbed one finds.
 */
import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { addFilm, addTake } from '../book/add-media.js';
import { JobRunner } from './job-runner.js';
import { Book } from '../book/book.js';
import { newProduction } from '../book/new-production.js';
import { RandomStream } from '../core/random.js';
import { rate } from '../core/rational.js';
import { createPicture, plane } from '../image/picture.js';
import { VideoWriter } from '../media/video-writer.js';
import {
  beatJob,
  claimJob,
  enterJob,
  finishJob,
  getJob,
  jobsPulse,
  listJobs,
  recoverJobs,
  resumeJob,
  stopJob,
  stopStrayJobs,
} from './job-store.js';
import { doJob } from './run-job.js';

const MAIN = fileURLToPath(new URL('../../dist/programs/job-main.js', import.meta.url));
let folder: string;

/** A film of coloured, moving shots with cuts at known frames. */
async function makeFilm(path: string, cuts: readonly number[], frames: number): Promise<void> {
  const w = await VideoWriter.open(path, {
    widthPx: 160,
    heightPx: 90,
    rate: rate(24),
    codec: 'h264',
    crf: 14,
    preset: 'ultrafast',
  });
  const random = new RandomStream(5);
  const p = createPicture(160, 90, 3);
  // Blocks of random colours, sliding slowly; other blocks after each cut.
  let blocks = Float32Array.from({ length: 40 * 12 * 3 }, () => random.uniform());
  for (let f = 0; f < frames; f++) {
    if (cuts.includes(f)) blocks = Float32Array.from({ length: 40 * 12 * 3 }, () => random.uniform());
    for (let c = 0; c < 3; c++) {
      const q = plane(p, c);
      for (let y = 0; y < 90; y++)
        for (let x = 0; x < 160; x++)
          q[y * 160 + x] =
            0.1 + 0.8 * blocks[((Math.floor((x + f * 0.25) / 13) % 40) * 12 + Math.floor(y / 8)) * 3 + c]!;
    }
    await w.writeCoded(p);
  }
  await w.close();
}

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-jobs-'));
  await makeFilm(join(folder, 'film.mp4'), [400, 900, 1300], 2000);
});
afterAll(() => {
  rmSync(folder, { recursive: true, force: true });
});

function production(name: string): Book {
  const book = Book.create(join(folder, name));
  book.edit('start', (e) => e.put('production', newProduction(name)));
  return book;
}

describe('jobs in the book', () => {
  it('enters one job for the same work, claims it once, stops and resumes it', () => {
    const book = production('store');
    const a = enterJob(book, 'scan', 'film', {});
    expect(enterJob(book, 'scan', 'film', {}).id).toBe(a.id);
    expect(enterJob(book, 'scan', 'film', { again: true }).id).not.toBe(a.id);
    expect(claimJob(book, a.id)).toBe(true);
    expect(claimJob(book, a.id)).toBe(false);
    expect(beatJob(book, a.id, 3, 10, 'looking')).toBe(false);
    stopJob(book, a.id);
    expect(beatJob(book, a.id, 4, 10, 'looking')).toBe(true);
    finishJob(book, a.id, { state: 'stopped' });
    resumeJob(book, a.id);
    expect(getJob(book, a.id)?.state).toBe('waiting');
    expect(claimJob(book, a.id)).toBe(true);
    finishJob(book, a.id, { state: 'done', result: { n: 1 } });
    expect(getJob(book, a.id)).toMatchObject({ state: 'done', result: { n: 1 } });
    book.close();
  });
  it('does an outline before what waits, and a quick join after what was asked for', () => {
    const book = production('turns');
    for (const kind of ['quick', 'verdict', 'deliver', 'outline'] as const)
      enterJob(book, kind, kind === 'deliver' ? '' : 'take', {});
    expect(recoverJobs(book).map((j) => j.kind)).toEqual(['outline', 'verdict', 'deliver', 'quick']);
    book.close();
  });
  it('tells of a change though another one at the same moment makes up for it in number', () => {
    const book = Book.create(join(folder, 'pulse'));
    const first = enterJob(book, 'brief', 'a', {}).id;
    const second = enterJob(book, 'brief', 'b', {}).id;
    let heard = jobsPulse(book);
    const then = (change: () => void): void => {
      change();
      const now = jobsPulse(book);
      expect(now).not.toBe(heard);
      heard = now;
    };
    then(() => claimJob(book, first));
    // One fails, the next begins: as many run, and as many are done, as before.
    then(() => {
      finishJob(book, first, { state: 'failed', error: 'no measures' });
      claimJob(book, second);
    });
    // A failed one waits once more, and fails again at once.
    then(() => resumeJob(book, first));
    then(() => {
      claimJob(book, first);
      finishJob(book, first, { state: 'failed', error: 'no measures' });
    });
    then(() => finishJob(book, second, { state: 'done', result: null }));
    book.close();
  });

  it('finds the job of a process that died', () => {
    const book = production('dead');
    const a = enterJob(book, 'scan', 'film', {});
    claimJob(book, a.id);
    // A pid that no process has: the largest that Linux hands out by default, plus one.
    book.db.prepare('UPDATE job SET pid = ? WHERE id = ?').run(4194305, a.id);
    expect(recoverJobs(book).map((j) => j.id)).toEqual([a.id]);
    expect(claimJob(book, a.id)).toBe(true);
    book.close();
  });
  it('stops the job of what was taken out of the book since, without a word of failure', () => {
    const book = production('gone');
    const died = enterJob(book, 'verdict', 'take-that-went', {}),
      waits = enterJob(book, 'measure', 'pick-that-went', {});
    claimJob(book, died.id);
    book.db.prepare('UPDATE job SET pid = ? WHERE id = ?').run(4194305, died.id);
    const runner = new JobRunner(book);
    try {
      runner.wake();
      for (const { id } of [died, waits]) expect(getJob(book, id)).toMatchObject({ state: 'stopped', error: null });
    } finally {
      runner.close();
      book.close();
    }
  });
  it('asks the running job of what was taken out since to stop, and lets every other be', () => {
    const book = production('gone-meanwhile');
    const gone = enterJob(book, 'verdict', 'take-that-went', {}),
      whole = enterJob(book, 'day', '', {});
    for (const { id } of [gone, whole]) claimJob(book, id);
    stopStrayJobs(book);
    expect(beatJob(book, gone.id, 1, 10, 'looking')).toBe(true);
    expect(beatJob(book, whole.id, 1, 10, 'planning')).toBe(false);
    book.close();
  });
  it.skipIf(process.platform !== 'linux')('leaves a job to its own process, however long that is silent', async () => {
    const book = production('silent');
    const a = enterJob(book, 'join', 'pick', {});
    claimJob(book, a.id);
    const waits = (...words: string[]) =>
      spawn(process.execPath, ['-e', 'process.stdout.write("up"); setInterval(() => 0, 1000)', ...words]);
    const [own, strange] = [waits('folder', a.id), waits('another')];
    try {
      await Promise.all([own, strange].map((p) => once(p.stdout, 'data')));
      const silent = (pid: number): void =>
        void book.db
          .prepare("UPDATE job SET state = 'running', pid = ?, heartbeat = ? WHERE id = ?")
          .run(pid, Date.now() - 60_000, a.id);
      silent(own.pid!);
      expect(recoverJobs(book)).toEqual([]);
      expect(claimJob(book, a.id)).toBe(false);
      // A number that another program has since is no sign of life.
      silent(strange.pid!);
      expect(recoverJobs(book).map((j) => j.id)).toEqual([a.id]);
    } finally {
      own.kill();
      strange.kill();
      book.close();
    }
  });
  it('stops a process that has lost its job, and takes no outcome from it', () => {
    const book = production('lost');
    const a = enterJob(book, 'join', 'pick', {});
    claimJob(book, a.id);
    book.db.prepare('UPDATE job SET pid = ? WHERE id = ?').run(process.pid + 1, a.id);
    expect(beatJob(book, a.id, 5, 10, 'rendering')).toBe(true);
    finishJob(book, a.id, { state: 'failed', error: 'too late' }, process.pid);
    expect(getJob(book, a.id)).toMatchObject({ state: 'running', done: 0, error: null });
    book.close();
  });
  it('a failed job says why, and the book keeps what it had', async () => {
    const book = production('fail');
    await expect(doJob(book, 'scan', 'nothing', {})).rejects.toThrow(/PW-BOOK-NO-SUCH/);
    expect(listJobs(book)[0]).toMatchObject({ state: 'failed' });
    expect(listJobs(book)[0]!.error).toMatch(/no film "nothing"/);
    book.close();
  });
});

describe('kill -9 while scanning', () => {
  it('goes on where it was and finds the shots that an undisturbed scan finds', async () => {
    const calm = production('calm');
    await addFilm(calm, join(folder, 'film.mp4'), { title: 'Film' });
    await doJob(calm, 'scan', 'film', {});
    const wanted = calm.need('film', 'film').cutList!;
    expect(wanted.shots.map((s) => s.in)).toEqual([0, 400, 900, 1300]);
    calm.close();

    const book = production('killed');
    await addFilm(book, join(folder, 'film.mp4'), { title: 'Film' });
    const job = enterJob(book, 'scan', 'film', {});
    const random = new RandomStream(77);
    let kills = 0;
    for (let round = 0; round < 40 && getJob(book, job.id)!.state !== 'done'; round++) {
      const child = spawn(process.execPath, [MAIN, book.folder, job.id], { stdio: 'ignore' });
      // The first rounds are killed at random shares of the work, the first of all as soon as it runs; then it may
      // finish.
      const share = round === 0 ? 0 : random.uniform();
      const watch =
        round >= 5
          ? undefined
          : setInterval(() => {
              const j = getJob(book, job.id)!;
              if (j.state === 'running' && j.done >= share * j.total) child.kill('SIGKILL');
            }, 4);
      const signal = await new Promise<NodeJS.Signals | null>((done) => child.on('exit', (_c, s) => done(s)));
      clearInterval(watch);
      if (signal === 'SIGKILL') kills++;
      expect((book.db.prepare('PRAGMA integrity_check').get() as { integrity_check: string }).integrity_check).toBe(
        'ok',
      );
    }
    expect(getJob(book, job.id)!.state).toBe('done');
    expect(kills).toBeGreaterThan(0);
    expect(book.need('film', 'film').cutList).toEqual(wanted);
    book.close();
  });
  it.skipIf(process.platform !== 'linux')('lets a quick join give way to what was asked for', async () => {
    const book = production('way');
    await addFilm(book, join(folder, 'film.mp4'), { title: 'Film' });
    const span = { in: 0, out: 40, order: 1, note: '', action: '', marks: { frame: 0, marks: [] } };
    book.edit('pick', (e) => e.put('pick', { id: 'one', film: 'film', title: 'one', ...span }));
    await addTake(book, join(folder, 'film.mp4'), { pick: 'one', id: 'take' });
    const quick = enterJob(book, 'quick', 'take', {});
    const runner = new JobRunner(book);
    try {
      runner.wake();
      const pid = () => {
        const row = book.db.prepare("SELECT pid FROM job WHERE id = ? AND state = 'running'").get(quick.id);
        return Number((row as { pid?: number } | undefined)?.pid ?? 0);
      };
      await expect.poll(pid, { timeout: 60_000, interval: 5 }).toBeGreaterThan(0);
      // Held by the system it would not end by itself before what is asked for now.
      const held = pid();
      process.kill(held, 'SIGSTOP');
      const scan = enterJob(book, 'scan', 'film', {});
      runner.wake();
      await expect.poll(() => getJob(book, scan.id)?.state, { timeout: 60_000, interval: 5 }).toBe('running');
      expect(getJob(book, quick.id)).toMatchObject({ state: 'waiting', error: null });
      await expect.poll(() => getJob(book, scan.id)?.state, { timeout: 60_000 }).toBe('done');
      // It was no crash: the quick join is begun again, by another process.
      await expect.poll(() => getJob(book, quick.id)?.state, { timeout: 60_000, interval: 5 }).not.toBe('waiting');
      expect(pid()).not.toBe(held);
    } finally {
      stopJob(book, quick.id);
      runner.close();
      book.close();
    }
  });
  it.skipIf(process.platform !== 'linux')('ends the process of a job that does not heed the word to stop', async () => {
    const book = production('deaf');
    await addFilm(book, join(folder, 'film.mp4'), { title: 'Film' });
    const job = enterJob(book, 'scan', 'film', {});
    const runner = new JobRunner(book);
    try {
      runner.wake();
      const pid = () =>
        Number(
          (book.db.prepare("SELECT pid FROM job WHERE id = ? AND state = 'running'").get(job.id) as { pid?: number })
            ?.pid ?? 0,
        );
      await expect.poll(pid, { interval: 20 }).toBeGreaterThan(0);
      // Held by the system, it hears nothing, as one that is deep in a long sum.
      process.kill(pid(), 'SIGSTOP');
      stopJob(book, job.id);
      expect(getJob(book, job.id)).toMatchObject({ state: 'running', stopping: true });
      await expect.poll(() => getJob(book, job.id)?.state).toBe('stopped');
      resumeJob(book, job.id);
      runner.wake();
      await expect.poll(() => getJob(book, job.id)?.state).toBe('done');
    } finally {
      runner.close();
      book.close();
    }
  });
});
