/** `pick`: choose shots and put them in story order. */
import type { Command } from 'commander';
import { makeId, type FilmDocument } from '../../book/documents.js';
import { respanPick } from '../../book/respan.js';
import { counted } from '../../core/counted.js';
import { PlatewrightError } from '../../core/errors.js';
import { action, answer, table } from '../output.js';
import { onProduction, withBook, type ProductionOptions } from '../production.js';
import { readWholeNumber } from '../read-number.js';

interface AddOptions extends ProductionOptions {
  shot?: string;
  from?: string;
  to?: string;
  title?: string;
  id?: string;
  action?: string;
  note?: string;
}

/**
 * Adds `pick add`, `list`, `order`, `span` and `remove`, each change one edit of the book. Its action throws `PW-CLI-NUMBER`,
 * `PW-CLI-USAGE`, `PW-PICK-SHOT`, `PW-PICK-SPAN`, and what the stage throws.
 */
export function register(program: Command): void {
  const pick = program.command('pick').description('Film shots chosen for the story.');
  addCommand(pick);
  listCommand(pick);
  orderCommand(pick);
  spanCommand(pick);
  removeCommand(pick);
}

/** Picking a shot, or a part of one. */
function addCommand(pick: Command): void {
  onProduction(
    pick
      .command('add [film]')
      .description('Pick a shot, or a part of one, for the story.')
      .option('--shot <n>', 'number of a shot that the scan found, from 1')
      .option('--from <frame>', 'first frame, inclusive')
      .option('--to <frame>', 'last frame, exclusive')
      .option('--title <title>')
      .option('--id <id>')
      .option('--action <text>', 'what the performer does here')
      .option('--note <text>'),
  ).action(
    action(async (film: string | undefined, o: AddOptions) =>
      withBook(o, async (book) => {
        const id = film ?? (book.ids('film').length === 1 ? book.ids('film')[0]! : '');
        const f = book.need('film', id);
        const [from, to] = spanOf(f, o);
        const made = book.edit(`pick ${o.title ?? `${from}–${to}`}`, (e) => {
          const title = o.title ?? `shot at ${from}`;
          const order = e.list('pick').reduce((m, p) => Math.max(m, p.order), 0) + 1;
          const document = {
            id: o.id ?? makeId(title, (i) => e.get('pick', i) !== null, 'pick'),
            film: f.id,
            title,
            in: from,
            out: to,
            order,
            note: o.note ?? '',
            marks: { frame: 0, marks: [] },
            action: o.action ?? '',
          };
          e.put('pick', document);
          return document;
        });
        answer(
          o,
          made,
          (d) =>
            `picked "${d.id}": frames ${d.in} to ${d.out} of ${f.title}; next: ` +
            `platewright mark ${d.id} --file MARKS.json`,
        );
      }),
    ),
  );
}

/** Another span of the film for a pick that is there. */
function spanCommand(pick: Command): void {
  onProduction(
    pick
      .command('span <id>')
      .description(
        'Let a pick begin or end elsewhere in the film. Its takes stay, and so do its marks on the pictures that ' +
          'they were made on; those on frames that are left out go. undo takes it back.',
      )
      .option('--from <frame>', "first frame of the film, inclusive; the pick's own unless told")
      .option('--to <frame>', "last frame, exclusive; the pick's own unless told"),
  ).action(
    action(async (id: string, o: ProductionOptions & { from?: string; to?: string }) =>
      withBook(o, async (book) => {
        const p = book.need('pick', id);
        if (o.from === undefined && o.to === undefined)
          throw new PlatewrightError('PW-CLI-USAGE', 'pick span needs --from, --to or both', { kind: 'usage' });
        const [from, to] = insideFilm(book.need('film', p.film), [
          o.from === undefined ? p.in : readWholeNumber(o.from, 'from', 0),
          o.to === undefined ? p.out : readWholeNumber(o.to, 'to', 0),
        ]);
        const { fields, lost } = respanPick(p, from, to);
        const gone = lost === 0 ? '' : `; ${counted(lost, 'mark')} outside them went`;
        const changed = book.edit(`${p.title}: frames ${from} to ${to - 1}${gone}`, (e) => {
          const document = { ...p, ...fields };
          e.put('pick', document);
          return document;
        });
        answer(o, changed, (d) => `${d.id}: frames ${d.in} to ${d.out} of ${d.film}${gone}; next: measure it again`);
      }),
    ),
  );
}

/** First frame and the one after the last, by the options: a shot's, or as said, inside the film. */
function spanOf(film: FilmDocument, o: AddOptions): [number, number] {
  return insideFilm(film, o.shot === undefined ? saidSpan(o) : shotSpan(film, o.shot, o));
}

/** The span where it holds a frame and lies inside the film. */
function insideFilm(film: FilmDocument, [from, to]: [number, number]): [number, number] {
  const count = film.info.video?.frameCount ?? 0;
  if (from >= to || to > count)
    throw new PlatewrightError(
      'PW-PICK-SPAN',
      from >= to
        ? `a pick from ${from} to ${to} holds no frame: --to is the frame after its last`
        : `a pick from ${from} to ${to} does not lie inside ${film.title}, ` +
            `whose last frame is ${count - 1} (--to is the frame after the last)`,
      { kind: 'usage' },
    );
  return [from, to];
}

function shotSpan(film: FilmDocument, shot: string, o: AddOptions): [number, number] {
  const n = readWholeNumber(shot, 'shot', 1);
  const s = film.cutList?.shots[n - 1];
  if (s === undefined)
    throw new PlatewrightError(
      'PW-PICK-SHOT',
      film.cutList === undefined
        ? `${film.title} has not been scanned; run "platewright scan" first`
        : `${film.title} has shots 1 to ${film.cutList.shots.length}, but ${n} was asked for`,
      { kind: 'usage' },
    );
  return [
    o.from === undefined ? s.in : readWholeNumber(o.from, 'from', 0),
    o.to === undefined ? s.out : readWholeNumber(o.to, 'to', 0),
  ];
}

function saidSpan(o: AddOptions): [number, number] {
  if (o.from === undefined || o.to === undefined)
    throw new PlatewrightError('PW-CLI-USAGE', 'pick add needs --shot N, or --from and --to', {
      kind: 'usage',
    });
  return [readWholeNumber(o.from, 'from', 0), readWholeNumber(o.to, 'to', 0)];
}

/** Picks in story order. */
function listCommand(pick: Command): void {
  onProduction(pick.command('list').description('Picks in story order.')).action(
    action(async (o: ProductionOptions) =>
      withBook(o, async (book) => {
        const picks = book.list('pick').sort((a, b) => a.order - b.order);
        answer(o, picks, (d) =>
          d.length === 0
            ? 'no pick yet'
            : table([
                ['id', 'title', 'film', 'in', 'out', 'marks', 'takes'],
                ...d.map((p) => [
                  p.id,
                  p.title,
                  p.film,
                  String(p.in),
                  String(p.out),
                  String(p.marks.marks.length),
                  String(book.list('take').filter((t) => t.pick === p.id).length),
                ]),
              ]),
        );
      }),
    ),
  );
}

/** Putting picks in another order. */
function orderCommand(pick: Command): void {
  onProduction(pick.command('order <ids...>').description('Put picks in story order.')).action(
    action(async (ids: string[], o: ProductionOptions) =>
      withBook(o, async (book) => {
        ids.forEach((id) => book.need('pick', id));
        book.edit('order the picks', (e) => {
          const rest = e
            .list('pick')
            .filter((p) => !ids.includes(p.id))
            .sort((a, b) => a.order - b.order)
            .map((p) => p.id);
          [...ids, ...rest].forEach((id, i) => e.put('pick', { ...e.get('pick', id)!, order: i + 1 }));
        });
        answer(
          o,
          book
            .list('pick')
            .sort((a, b) => a.order - b.order)
            .map((p) => p.id),
          (d) => d.join(' → '),
        );
      }),
    ),
  );
}

/** Taking a pick out of the story. */
function removeCommand(pick: Command): void {
  onProduction(
    pick
      .command('remove <id>')
      .description('Take a pick out of the story, with what was measured on it; undo brings it back.'),
  ).action(
    action(async (id: string, o: ProductionOptions) =>
      withBook(o, async (book) => {
        book.need('pick', id);
        book.edit(`remove pick ${id}`, (e) => {
          e.remove('pick', id);
          e.remove('measures', id);
          e.remove('brief', id);
          e.remove('join', id);
          for (const t of e.list('take')) if (t.pick === id) e.put('take', { ...t, pick: null });
        });
        answer(o, { removed: id }, () => `removed ${id}; "platewright undo" brings it back`);
      }),
    ),
  );
}
