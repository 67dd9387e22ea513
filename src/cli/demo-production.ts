/** The demo's production as its list says: film, picks, takes and marks entered into a new book. */
import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { z } from 'zod';
import { addFilm, addTake } from '../book/add-media.js';
import { Book } from '../book/book.js';
import type { CutDocument } from '../book/documents.js';
import { newProduction } from '../book/new-production.js';
import { parseMarks } from '../plate/marks/marks.js';

export const listSchema = z.object({
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

type ProductionList = z.infer<typeof listSchema>;

/**
 * Enters everything that is not in the book yet.
 * @param media folder that the list's files lie in
 * @param say is told what was entered
 */
export async function enter(
  book: Book,
  list: ProductionList,
  media: string,
  say: (text: string) => void,
): Promise<void> {
  enterProduction(book, list);
  if (book.get('film', list.film.id) === null) {
    await addFilm(book, join(media, list.film.file), {
      id: list.film.id,
      title: list.film.title,
      credit: 'made for this demo by the Platewright project',
      licence: 'CC0',
    });
    say(`added the film ${list.film.title}`);
  }
  enterPicks(book, list, media);
  await enterTakes(book, list, media);
  if (book.get('cut', 'cut') === null) {
    enterCut(book, list, media);
    say(`entered ${list.picks.length} picks and ${list.takes.length} takes`);
  }
}

function enterProduction(book: Book, { title, rate, performer }: ProductionList): void {
  if (book.get('production', 'production') !== null) return;
  const p = newProduction(title, { rate });
  book.edit('start the demo production', (e) =>
    e.put('production', {
      ...p,
      performer: { name: performer.name, species: performer.kind, heightM: performer.heightM, triesADay: 5 },
    }),
  );
}

function enterPicks(book: Book, list: ProductionList, media: string): void {
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
}

async function enterTakes(book: Book, list: ProductionList, media: string): Promise<void> {
  for (const t of list.takes) {
    if (book.get('take', t.id) !== null) continue;
    const marks =
      t.marks == null || !existsSync(join(media, t.marks))
        ? null
        : parseMarks(readFileSync(join(media, t.marks), 'utf8'), t.marks);
    await addTake(book, join(media, t.file), { id: t.id, pick: t.pick, title: t.id, note: t.what, marks });
  }
}

function enterCut(book: Book, list: ProductionList, media: string): void {
  book.edit('cut of the demo', (e) =>
    e.put('cut', {
      id: 'cut',
      entries: [...titlesAt(list, 'open'), ...cutEntries(list), ...titlesAt(list, 'close')],
      music: { file: join(media, list.music.file), gainDb: -14, fromFrame: 0 },
      captions: [{ in: 8, out: 34, text: list.title }],
      credits: list.credits,
      thanks: list.supporters,
    }),
  );
  book.edit('why the film is used', (e) =>
    e.put('purpose', { id: list.film.id, text: 'an invented film, made for this demo: to show the whole job' }),
  );
}

function titlesAt(list: ProductionList, at: string): CutDocument['entries'] {
  return list.titles.filter((t) => t.at === at).map((t) => ({ kind: 'title', lines: [t.text], frames: 40 }));
}

function cutEntries(list: ProductionList): CutDocument['entries'] {
  const entries: CutDocument['entries'] = [];
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
  return entries;
}
