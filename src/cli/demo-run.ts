/** The demo's whole job as a queue: every stage for what has not been through it, so that a stopped run goes on. */
import { availableParallelism } from 'node:os';
import type { z } from 'zod';
import type { Book } from '../book/book.js';
import { runQueue, type QueuedJob } from '../jobs/run-queue.js';
import type { listSchema } from './demo-production.js';

export type DemoList = z.infer<typeof listSchema>;

/** A first date in summer: the demo's sun windows shall not depend on the day it is run. */
const DEMO_DATE = '2026-06-20';

/** Runs all stages; a job that fails is said by `say` and ends nothing. */
export async function runDemo(book: Book, list: DemoList, say: (text: string) => void): Promise<void> {
  const lanes = Math.max(1, Math.min(4, availableParallelism()));
  const each = async (what: string | null, jobs: QueuedJob[]): Promise<void> => {
    if (jobs.length === 0) {
      if (what !== null) say(`${what}: done before`);
      return;
    }
    await runQueue(book, jobs, lanes, (d, t, j) =>
      say(
        `${what ?? j.kind} ${d} of ${t}: ` +
          `${j.subject || 'the production'}${j.state === 'done' ? '' : ` ${j.state}: ${j.error ?? ''}`}`,
      ),
    );
  };
  await each(
    'scan',
    book
      .list('film')
      .filter((f) => f.cutList === undefined)
      .map((f) => ({ kind: 'scan', subject: f.id })),
  );
  const picks = [...list.picks].sort((a, b) => a.order - b.order).map((p) => p.id);
  await each(
    'measure',
    picks.filter((p) => book.get('measures', p) === null).map((p) => ({ kind: 'measure', subject: p })),
  );
  await each(
    'brief',
    picks
      .filter((p) => book.get('brief', p) === null)
      .map((p) => ({ kind: 'brief', subject: p, spec: { from: DEMO_DATE, days: 30 } })),
  );
  await each('shoot day', book.list('day').length > 0 ? [] : [{ kind: 'day', subject: '', spec: { date: DEMO_DATE } }]);
  await each(
    'verdict',
    book
      .list('take')
      .filter(
        (t) => t.kind === 'video' && t.verdict === undefined && list.takes.find((x) => x.id === t.id)?.use !== 'double',
      )
      .map((t) => ({ kind: 'verdict', subject: t.id })),
  );
  const joining = longestFirst(book, list.joins);
  await each(
    'join',
    joining
      .filter((j) => book.get('join', j.pick)?.render === undefined)
      .map((j) => ({
        kind: 'join',
        subject: j.pick,
        spec: { take: j.take, quality: 'fine', ...(j.patch === undefined ? {} : { patch: j.patch }) },
      })),
  );
  // The reel first; what else the finished joins are needed for runs beside it.
  await each(null, [
    ...(book.list('delivery').some((d) => d.id !== 'reveal') ? [] : [{ kind: 'deliver', subject: '' } as const]),
    ...(book.get('delivery', 'reveal') !== null
      ? []
      : [
          {
            kind: 'reveal',
            subject: '',
            spec: {
              secondsAStage: 0.75,
              picks: list.joins.map((j) => j.pick).filter((p) => ['platform', 'conductor', 'railing'].includes(p)),
            },
          } as const,
        ]),
    ...joining
      .filter((j) => book.get('join', j.pick)?.inspection === undefined)
      .map((j) => ({ kind: 'inspect', subject: j.pick }) as const),
  ]);
}

/**
 * What takes longest first, so that no core waits at the end for one join: mending a
 * plate takes several times what joining does.
 */
function longestFirst(book: Book, joins: DemoList['joins']): DemoList['joins'] {
  const lengthOf = (id: string): number => {
    const p = book.need('pick', id);
    return p.out - p.in;
  };
  const mends = (id: string): number =>
    book.need('pick', id).marks?.marks.some((m) => m.kind === 'erase' || m.kind === 'widen') === true ? 1 : 0;
  return [...joins].sort(
    (a, b) =>
      mends(b.pick) - mends(a.pick) ||
      (b.patch === undefined ? 0 : 1) - (a.patch === undefined ? 0 : 1) ||
      lengthOf(b.pick) - lengthOf(a.pick),
  );
}
