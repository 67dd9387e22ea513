/** `film add`: the film that the production borrows from. */
import type { Command } from 'commander';
import { addFilm } from '../../book/add-media.js';
import { action, answer, table } from '../output.js';
import { onProduction, withBook, type ProductionOptions } from '../production.js';

export function register(program: Command): void {
  const film = program.command('film').description('The films that the production borrows from.');
  onProduction(film.command('add <file>').description('Add a film by reference; it stays where it is and is never changed.')
    .option('--title <title>', 'its title, for credits and ledger').option('--credit <text>', 'who made it').option('--licence <text>', 'under which licence or exception it is used').option('--id <id>', 'short name'))
    .action(action(async (file: string, o: ProductionOptions & { title?: string; credit?: string; licence?: string; id?: string }) => withBook(o, async (book) => {
      const d = await addFilm(book, file, o);
      answer(o, d, () => `added ${d.title} as "${d.id}": ${d.info.video!.widthPx} × ${d.info.video!.heightPx}, ${d.info.video!.rate.num}/${d.info.video!.rate.den}, ${d.info.video!.frameCount} frames${d.info.video!.notes.length > 0 ? `\n${d.info.video!.notes.join('\n')}` : ''}`);
    })));
  onProduction(film.command('list').description('The films of the production.'))
    .action(action(async (o: ProductionOptions) => withBook(o, async (book) => {
      answer(o, book.list('film'), (films) => films.length === 0 ? 'no film yet' : table([['id', 'title', 'frames', 'shots'], ...films.map((f) => [f.id, f.title, String(f.info.video?.frameCount ?? 0), String(f.cutList?.shots.length ?? '–')])]));
    })));
}
