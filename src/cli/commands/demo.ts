/**
 * `demo`: makes the demo production from the media that ship with the project and runs the whole job on
 * it: scan, picks, marks, measures, briefs, day, takes, verdicts, joins, inspections, cut, delivery,
 * reveal, ledger. Stopped, it goes on where it was.
 */
import { existsSync, readFileSync } from 'node:fs';
import { availableParallelism } from 'node:os';
import { dirname, join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import type { Command } from 'commander';
import { BOOK_FILE, Book } from '../../book/book.js';
import { PlatewrightError } from '../../core/errors.js';
import { ledgerOf } from '../../jobs/ledger-of.js';
import { runQueue, type QueuedJob } from '../../jobs/run-queue.js';
import { firstIssue } from '../../plate/marks.js';
import { action, answer, shellWord, table } from '../output.js';
import { enter, listSchema } from '../demo-production.js';

/** A first date in summer: the demo's sun windows shall not depend on the day it is run. */
const DEMO_DATE = '2026-06-20';

export function register(program: Command): void {
  program
    .command('demo')
    .description('Make the demo production, run the whole job on it, and show what came out.')
    .option('-p, --production <folder>', 'where to make it', 'demo-production')
    .option('--media <folder>', "folder of the demo's list and media; the project's own unless told")
    .option('--json', 'one JSON document')
    .action(
      action(async (o: { production: string; media?: string; json?: boolean }) => {
        const media = resolve(o.media ?? join(dirname(fileURLToPath(import.meta.url)), '..', '..', '..', 'demo'));
        const listFile = join(media, 'production.json');
        if (!existsSync(listFile))
          throw new PlatewrightError(
            'PW-DEMO-MISSING',
            `there is no demo list at ${listFile}; it ships with the project's own folder`,
          );
        const parsed = listSchema.safeParse(JSON.parse(readFileSync(listFile, 'utf8')));
        if (!parsed.success) throw new PlatewrightError('PW-DEMO-FORM', `${listFile}: ${firstIssue(parsed.error)}`);
        const list = parsed.data;
        const from = Date.now();
        const say = (text: string): void => {
          process.stderr.write(`[${((Date.now() - from) / 1000).toFixed(0).padStart(4)} s] ${text}\n`);
        };
        const folder = resolve(o.production);
        const book = existsSync(join(folder, BOOK_FILE)) ? Book.open(folder) : Book.create(folder);
        try {
          await enter(book, list, media, say);
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
          await each(
            'shoot day',
            book.list('day').length > 0 ? [] : [{ kind: 'day', subject: '', spec: { date: DEMO_DATE } }],
          );
          await each(
            'verdict',
            book
              .list('take')
              .filter(
                (t) =>
                  t.kind === 'video' &&
                  t.verdict === undefined &&
                  list.takes.find((x) => x.id === t.id)?.use !== 'double',
              )
              .map((t) => ({ kind: 'verdict', subject: t.id })),
          );
          // What takes longest first, so that no core waits at the end for one join: mending a
          // plate takes several times what joining does.
          const lengthOf = (id: string): number => {
            const p = book.need('pick', id);
            return p.out - p.in;
          };
          const mends = (id: string): number =>
            book.need('pick', id).marks?.marks.some((m) => m.kind === 'erase' || m.kind === 'widen') === true ? 1 : 0;
          const joining = [...list.joins].sort(
            (a, b) =>
              mends(b.pick) - mends(a.pick) ||
              (b.patch === undefined ? 0 : 1) - (a.patch === undefined ? 0 : 1) ||
              lengthOf(b.pick) - lengthOf(a.pick),
          );
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
            ...(book.list('delivery').some((d) => d.id !== 'reveal')
              ? []
              : [{ kind: 'deliver', subject: '' } as const]),
            ...(book.get('delivery', 'reveal') !== null
              ? []
              : [
                  {
                    kind: 'reveal',
                    subject: '',
                    spec: {
                      secondsAStage: 0.75,
                      picks: list.joins
                        .map((j) => j.pick)
                        .filter((p) => ['platform', 'conductor', 'railing'].includes(p)),
                    },
                  } as const,
                ]),
            ...joining
              .filter((j) => book.get('join', j.pick)?.inspection === undefined)
              .map((j) => ({ kind: 'inspect', subject: j.pick }) as const),
          ]);
          // A body double is held to the performer's marks by nobody: its pick's marks are the animal's.
          const MATTERS: Record<string, string> = { screen: 'screenEvenness', edges: 'inFrame' };
          const faults = list.takes
            .filter((t) => t.use !== 'still' && t.use !== 'double')
            .map((t) => {
              const verdict = book.get('take', t.id)?.verdict ?? null;
              const worst =
                verdict?.matters
                  .filter((m) => m.verdict === verdict.verdict && m.verdict !== 'fits')
                  .map((m) => m.matter) ?? [];
              const named =
                t.fault === 'none'
                  ? verdict !== null && verdict.verdict !== 'shoot again'
                  : verdict !== null &&
                    worst.some((m) => m === (MATTERS[t.expected.matter ?? ''] ?? t.expected.matter));
              return {
                take: t.id,
                planted: t.fault,
                expected: t.expected.verdict,
                verdict: verdict?.verdict ?? null,
                matters: worst,
                named,
              };
            });
          const joins = list.joins.map((j) => {
            const d = book.get('join', j.pick);
            return {
              pick: j.pick,
              take: j.take,
              frames: d?.render?.frames ?? 0,
              passes: d?.inspection?.passes ?? null,
              failing: d?.inspection?.matters.filter((m) => m.passes === false).map((m) => m.matter) ?? [],
            };
          });
          const deliveries = book
            .list('delivery')
            .map((d) => ({ id: d.id, files: d.files.map((f) => book.mediaPath(f)) }));
          const ledger = ledgerOf(book).borrowed;
          const seconds = (Date.now() - from) / 1000;
          say('done');
          answer(o, { folder, seconds, faults, joins, deliveries, ledger: ledger.totals }, (d) =>
            [
              '',
              'Planted faults and what the verdicts say',
              table([
                ['take', 'planted', 'verdict', 'matters', 'named'],
                ...d.faults.map((f) => [
                  f.take,
                  f.planted,
                  f.verdict ?? '–',
                  f.matters.join(', '),
                  f.named ? 'yes' : 'NO',
                ]),
              ]),
              '',
              'Joins and their inspection',
              table([
                ['pick', 'take', 'frames', 'inspection'],
                ...d.joins.map((j) => [
                  j.pick,
                  j.take,
                  String(j.frames),
                  j.passes === null ? 'not inspected' : j.passes ? 'does not show' : `shows: ${j.failing.join(', ')}`,
                ]),
              ]),
              '',
              ...d.deliveries.flatMap((x) =>
                x.files.filter((f) => f.endsWith('.mp4')).map((f) => `${x.id === 'reveal' ? 'reveal' : 'reel'}: ${f}`),
              ),
              ...d.ledger.map((t) => `borrowed from ${t.title}: ${t.seconds.toFixed(1)} s in ${t.uses} uses`),
              `the workbench: platewright serve --production ${shellWord(d.folder)}`,
            ].join('\n'),
          );
          return 0;
        } finally {
          book.close();
        }
      }),
    );
}
