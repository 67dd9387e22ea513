/** `film add`: the film that the production borrows from. */
import { counted } from '../../core/counted.js';
import type { Command } from 'commander';
import { addFilm } from '../../book/add-media.js';
import { missingMedia, relinkFilm, removeFilm } from '../../book/film-place.js';
import { action, answer, table } from '../output.js';
import { onProduction, withBook, type ProductionOptions } from '../production.js';

/** Adds `film add`, `relink`, `remove` and `list`, each one edit of the book. */
export function register(program: Command): void {
  const film = program.command('film').description('The films that the production borrows from.');
  onProduction(
    film
      .command('add <file>')
      .description('Add a film by reference; it stays where it is and is never changed.')
      .option('--title <title>', 'its title, for credits and ledger')
      .option('--credit <text>', 'who made it')
      .option('--licence <text>', 'under which licence or exception it is used')
      .option('--id <id>', 'short name'),
  ).action(
    action(
      async (file: string, o: ProductionOptions & { title?: string; credit?: string; licence?: string; id?: string }) =>
        withBook(o, async (book) => {
          const d = await addFilm(book, file, o);
          answer(
            o,
            d,
            () =>
              `added ${d.title} as "${d.id}": ${d.info.video!.widthPx} × ${d.info.video!.heightPx}, ` +
              `${d.info.video!.rate.num}/${d.info.video!.rate.den}, ` +
              `${counted(d.info.video!.frameCount, 'frame')}` +
              (d.info.video!.notes.length > 0 ? `\n${d.info.video!.notes.join('\n')}` : ''),
          );
        }),
    ),
  );
  onProduction(
    film
      .command('relink <id> <file>')
      .description('Say where a film lies now, after its folder was moved. It has to be the same film.'),
  ).action(
    action(async (id: string, file: string, o: ProductionOptions) =>
      withBook(o, async (book) => {
        const d = await relinkFilm(book, id, file);
        answer(o, d, () => `${d.title} is read from ${book.mediaPath(d.file)} from now on`);
      }),
    ),
  );
  onProduction(
    film
      .command('remove <id>')
      .description('Take a film out of the book; the file is not touched, and undo brings it back.'),
  ).action(
    action(async (id: string, o: ProductionOptions) =>
      withBook(o, async (book) => {
        removeFilm(book, id);
        answer(o, { removed: id }, () => `removed ${id}; "platewright undo" brings it back`);
      }),
    ),
  );
  onProduction(film.command('list').description('The films of the production.')).action(
    action(async (o: ProductionOptions) =>
      withBook(o, async (book) => {
        answer(o, book.list('film'), (films) =>
          films.length === 0
            ? 'no film yet'
            : table([
                ['id', 'title', 'frames', 'shots', 'file'],
                ...films.map((f) => [
                  f.id,
                  f.title,
                  String(f.info.video?.frameCount ?? 0),
                  String(f.cutList?.shots.length ?? '–'),
                  missingMedia(book).films.includes(f.id) ? `NOT THERE: ${f.file}` : f.file,
                ]),
              ]),
        );
      }),
    ),
  );
}
