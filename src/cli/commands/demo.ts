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
import { z } from 'zod';
import { addFilm, addTake } from '../../book/add-media.js';
import { BOOK_FILE, Book } from '../../book/book.js';
import type { CutDocument } from '../../book/documents.js';
import { newProduction } from '../../book/new-production.js';
import { PlatewrightError } from '../../core/errors.js';
import { ledgerOf } from '../../jobs/ledger-of.js';
import { runQueue, type QueuedJob } from '../../jobs/run-queue.js';
import { firstIssue, parseMarks } from '../../plate/marks.js';
import { action, answer, shellWord, table } from '../output.js';

const listSchema = z.object({
  title: z.string(),
  performer: z.object({ name: z.string(), kind: z.string(), heightM: z.number() }),
  rate: z.string(),
  handleFrames: z.number(),
  film: z.object({ id: z.string(), file: z.string(), title: z.string() }),
  music: z.object({ file: z.string(), title: z.string() }),
  picks: z.array(
    z.object({
      id: z.string(),
      in: z.number(),
      out: z.number(),
      order: z.number(),
      title: z.string(),
      needs: z.array(z.string()),
      marks: z.string(),
    }),
  ),
  takes: z.array(
    z.object({
      id: z.string(),
      file: z.string(),
      pick: z.string(),
      use: z.string(),
      marks: z.string().nullable().optional(),
      fault: z.string(),
      expected: z.object({ verdict: z.string(), matter: z.string().nullable() }),
      what: z.string(),
    }),
  ),
  joins: z.array(z.object({ pick: z.string(), take: z.string(), patch: z.string().optional() })),
  cut: z.array(
    z.object({ kind: z.string(), pick: z.string().optional(), in: z.number().optional(), out: z.number().optional() }),
  ),
  titles: z.array(z.object({ text: z.string(), at: z.string() })),
  credits: z.array(z.string()),
  supporters: z.array(z.string()),
});

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

/** Enters everything that is not in the book yet. */
async function enter(
  book: Book,
  list: z.infer<typeof listSchema>,
  media: string,
  say: (text: string) => void,
): Promise<void> {
  if (book.get('production', 'production') === null) {
    const p = newProduction(list.title, { rate: list.rate });
    book.edit('start the demo production', (e) =>
      e.put('production', {
        ...p,
        performer: {
          name: list.performer.name,
          species: list.performer.kind,
          heightM: list.performer.heightM,
          triesADay: 5,
        },
      }),
    );
  }
  if (book.get('film', list.film.id) === null) {
    await addFilm(book, join(media, list.film.file), {
      id: list.film.id,
      title: list.film.title,
      credit: 'made for this demo by the Platewright project',
      licence: 'CC0',
    });
    say(`added the film ${list.film.title}`);
  }
  for (const p of list.picks) {
    if (book.get('pick', p.id) !== null) continue;
    const marks = parseMarks(readFileSync(join(media, p.marks), 'utf8'), p.marks);
    book.edit(`pick ${p.title}`, (e) =>
      e.put('pick', {
        id: p.id,
        film: list.film.id,
        title: p.title,
        in: p.in,
        out: p.out,
        order: p.order,
        note: `needs: ${p.needs.join(', ')}`,
        marks,
        action: '',
      }),
    );
  }
  for (const t of list.takes) {
    if (book.get('take', t.id) !== null) continue;
    const marks =
      t.marks == null || !existsSync(join(media, t.marks))
        ? null
        : parseMarks(readFileSync(join(media, t.marks), 'utf8'), t.marks);
    await addTake(book, join(media, t.file), { id: t.id, pick: t.pick, title: t.id, note: t.what, marks });
  }
  if (book.get('cut', 'cut') === null) {
    const entries: CutDocument['entries'] = [];
    for (const t of list.titles.filter((x) => x.at === 'open'))
      entries.push({ kind: 'title', lines: [t.text], frames: 40 });
    for (const c of list.cut) {
      if (c.pick !== undefined)
        entries.push({
          kind: 'pick',
          pick: c.pick,
          trimIn: 0,
          trimOut: 0,
          soundLead: 0,
          soundTail: 0,
          soundFrom: 'film',
        });
      else if (c.in !== undefined && c.out !== undefined)
        entries.push({ kind: 'film', film: list.film.id, in: c.in, out: c.out, soundLead: 0, soundTail: 6 });
    }
    for (const t of list.titles.filter((x) => x.at === 'close'))
      entries.push({ kind: 'title', lines: [t.text], frames: 40 });
    book.edit('cut of the demo', (e) =>
      e.put('cut', {
        id: 'cut',
        entries,
        music: { file: join(media, list.music.file), gainDb: -14, fromFrame: 0 },
        captions: [{ in: 8, out: 34, text: list.title }],
        credits: list.credits,
        thanks: list.supporters,
      }),
    );
    book.edit('why the film is used', (e) =>
      e.put('purpose', { id: list.film.id, text: 'an invented film, made for this demo: to show the whole job' }),
    );
    say(`entered ${list.picks.length} picks and ${list.takes.length} takes`);
  }
}
