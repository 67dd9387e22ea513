/** `take`: add takes, star them, list them. */
import { basename, extname } from 'node:path';
import type { Command } from 'commander';
import type { Book } from '../../book/book.js';
import type { TakeDocument } from '../../book/documents.js';
import { addLayers, addTake } from '../../book/add-media.js';
import { assignTake, removeTake, takeFor } from '../../book/take-place.js';
import { isOtherFile, takeAgain } from '../../book/take-again.js';
import { turnTake } from '../../book/turn-take.js';
import { counted } from '../../core/counted.js';
import { PlatewrightError } from '../../core/errors.js';
import { isPictureFolder, picturesIn } from '../../media/sequence.js';
import type { MarksFile } from '../../plate/marks/marks.js';
import { action, answer, table } from '../output.js';
import { readMarks } from '../read-marks.js';
import { onProduction, withBook, type ProductionOptions } from '../production.js';

/**
 * Adds `take add`, `list`, `for`, `turn`, `again`, `remove` and `star`, each change one edit of the book. Its action
 * throws `PW-CLI-USAGE`, and what the stage throws.
 */
export function register(program: Command): void {
  const take = program.command('take').description('Home takes: film, stills and picture sequences.');
  addCommand(take);
  listCommand(take);
  forCommand(take);
  alsoCommand(take);
  turnCommand(take);
  againCommand(take);
  removeCommand(take);
  starCommand(take);
}

interface AddOptions extends ProductionOptions {
  pick?: string;
  marks?: string;
  id?: string;
  title?: string;
  note?: string;
  layers?: boolean;
  distances?: string;
  shares?: string;
}

/** Adding takes: each file one, or pictures as the layers of one drawing. */
function addCommand(take: Command): void {
  onProduction(
    take
      .command('add <files...>')
      .description('Add takes; they are copied into the production. A folder of pictures is a drawing in layers.')
      .option('--pick <id>', 'the pick they are for')
      .option('--marks <file>', 'marks file for the take (one take at a time)')
      .option('--id <id>')
      .option('--title <title>')
      .option('--note <text>')
      .option('--layers', 'the pictures are the layers of one drawing, in this order')
      .option('--distances <metres>', "how far from the plate's camera each layer is, as in 9,4,2.5")
      .option('--shares <shares>', "the same in shares of the stand mark's distance"),
  ).action(
    action(async (files: string[], o: AddOptions) =>
      withBook(o, async (book) => (isLayers(files, o) ? addDrawing(book, files, o) : addFilms(book, files, o))),
    ),
  );
}

function isLayers(files: readonly string[], o: AddOptions): boolean {
  return (
    o.layers === true ||
    o.distances !== undefined ||
    o.shares !== undefined ||
    (files.length === 1 && isPictureFolder(files[0]!))
  );
}

async function addDrawing(book: Book, files: readonly string[], o: AddOptions): Promise<void> {
  const numbers = (t: string): number[] => t.split(',').map(Number);
  const marks = marksFrom(o.marks);
  const pictures = files.flatMap((f) => (isPictureFolder(f) ? picturesIn(f) : [f]));
  const t = await addLayers(book, pictures, {
    pick: o.pick ?? null,
    marks,
    ...(o.id === undefined ? {} : { id: o.id }),
    title: o.title ?? basename(files[0]!, extname(files[0]!)),
    ...(o.note === undefined ? {} : { note: o.note }),
    ...(o.distances === undefined ? {} : { distances: numbers(o.distances) }),
    ...(o.shares === undefined ? {} : { shares: numbers(o.shares) }),
  });
  answer(o, [t], () => `${addedWords(t)}: a drawing in ${pictures.length} layers`);
}

async function addFilms(book: Book, files: readonly string[], o: AddOptions): Promise<void> {
  if (files.length > 1 && (o.marks !== undefined || o.id !== undefined))
    throw new PlatewrightError('PW-CLI-USAGE', '--marks and --id go with one take at a time', {
      kind: 'usage',
    });
  const marks = marksFrom(o.marks);
  const added = [];
  for (const f of files)
    added.push(
      await addTake(book, f, {
        pick: o.pick ?? null,
        marks,
        ...(o.id === undefined ? {} : { id: o.id }),
        ...(o.title === undefined ? {} : { title: o.title }),
        ...(o.note === undefined ? {} : { note: o.note }),
      }),
    );
  answer(o, added, (d) =>
    d
      .map((t) => {
        const { frameCount, notes } = t.info.video!;
        return `${addedWords(t)}: ${counted(frameCount, 'frame')}` + notes.map((n) => `\n  ${n}`).join('');
      })
      .join('\n'),
  );
}

const marksFrom = (file: string | undefined): MarksFile | null => (file === undefined ? null : readMarks(file));

const addedWords = (t: TakeDocument): string => `added take "${t.id}"${t.pick === null ? '' : ` for ${t.pick}`}`;

/** All takes, with star and verdict. */
function listCommand(take: Command): void {
  onProduction(take.command('list').description('All takes.').option('--pick <id>')).action(
    action(async (o: ProductionOptions & { pick?: string }) =>
      withBook(o, async (book) => {
        answer(
          o,
          book.list('take').filter((t) => o.pick === undefined || t.pick === o.pick),
          (d) =>
            d.length === 0
              ? 'no take yet'
              : table([
                  ['id', 'pick', 'frames', 'star', 'verdict', ...(d.some((t) => isOtherFile(book, t)) ? ['file'] : [])],
                  ...d.map((t) => [
                    t.id,
                    t.pick ?? '–',
                    String(t.info.video?.frameCount ?? 0),
                    t.star ? 'star' : '',
                    t.verdict?.verdict ?? 'not judged',
                    ...(isOtherFile(book, t) ? ['another than was added'] : []),
                  ]),
                ]),
        );
      }),
    ),
  );
}

/** Which pick a take is for. */
function forCommand(take: Command): void {
  onProduction(
    take
      .command('for <take> [pick]')
      .description('Say which pick a take is for; --none: for none. A verdict against another pick goes.')
      .option('--none'),
  ).action(
    action(async (id: string, pick: string | undefined, o: ProductionOptions & { none?: boolean }) =>
      withBook(o, async (book) => {
        if ((pick === undefined) === (o.none !== true))
          throw new PlatewrightError('PW-CLI-USAGE', `name the pick that ${id} is for, or give --none`, {
            kind: 'usage',
          });
        answer(o, assignTake(book, id, pick ?? null), (t) =>
          t.pick === null ? `${t.id} is for no pick` : `${t.id} is for ${t.pick}; next: platewright verdict ${t.id}`,
        );
      }),
    ),
  );
}

/** One take for several picks. */
function alsoCommand(take: Command): void {
  onProduction(
    take
      .command('also <take> <pick>')
      .description('Use a take for another pick too: it is marked and judged there by itself; the file is not copied.'),
  ).action(
    action(async (id: string, pick: string, o: ProductionOptions) =>
      withBook(o, async (book) => {
        answer(
          o,
          takeFor(book, id, pick),
          (t) => `added take "${t.id}" for ${t.pick}; next: platewright verdict ${t.id}`,
        );
      }),
    ),
  );
}

/** Setting a take upright. */
function turnCommand(take: Command): void {
  onProduction(
    take
      .command('turn <id> <degrees>')
      .description(
        'Set a take upright that was filmed upside down or on its side: 90, 180 or 270 degrees clockwise. ' +
          'Nothing is encoded anew; its marks go.',
      ),
  ).action(
    action(async (id: string, degrees: string, o: ProductionOptions) =>
      withBook(o, async (book) => {
        answer(
          o,
          await turnTake(book, id, Number(degrees)),
          (t) =>
            `${t.id} is ${t.info.video!.widthPx} × ${t.info.video!.heightPx} now; next: platewright verdict ${t.id}`,
        );
      }),
    ),
  );
}

/** Taking in another file in a take's place. */
function againCommand(take: Command): void {
  onProduction(
    take
      .command('again <id>')
      .description(
        "Take a take's file in as it is now, where another was put in its place: the verdict and joins built with it " +
          'go, and so do its marks.',
      )
      .option('--keep-marks', 'its marks hold on the new file too'),
  ).action(
    action(async (id: string, o: ProductionOptions & { keepMarks?: boolean }) =>
      withBook(o, async (book) => {
        answer(
          o,
          await takeAgain(book, id, o.keepMarks === true),
          (t) =>
            `${t.id} has ${counted(t.info.video!.frameCount, 'frame')} of ${t.info.video!.widthPx} × ` +
            `${t.info.video!.heightPx} now; next: platewright ${t.marks === null ? 'mark' : 'verdict'} ${t.id}` +
            (t.marks === null ? ' --take' : ''),
        );
      }),
    ),
  );
}

/** Taking a take out of the book. */
function removeCommand(take: Command): void {
  onProduction(
    take.command('remove <id>').description('Take a take out of the book; its file stays, and undo brings it back.'),
  ).action(
    action(async (id: string, o: ProductionOptions) =>
      withBook(o, async (book) => {
        removeTake(book, id);
        answer(o, { removed: id }, () => `removed ${id}; "platewright undo" brings it back`);
      }),
    ),
  );
}

/** Starring a take. */
function starCommand(take: Command): void {
  onProduction(
    take
      .command('star <id>')
      .description('Star a take: it outranks any number. --off takes the star away.')
      .option('--off'),
  ).action(
    action(async (id: string, o: ProductionOptions & { off?: boolean }) =>
      withBook(o, async (book) => {
        const t = book.need('take', id);
        book.edit(`${o.off === true ? 'unstar' : 'star'} ${id}`, (e) => e.put('take', { ...t, star: o.off !== true }));
        answer(o, { id, star: o.off !== true }, (d) => `${d.id} ${d.star ? 'is starred' : 'has no star'}`);
      }),
    ),
  );
}
