/** `scan`: find a film's shots. */
import type { Command } from 'commander';
import { counted } from '../../core/counted.js';
import { action, answer, table } from '../output.js';
import { onProduction, runWithProgress, withBook, type ProductionOptions } from '../production.js';
import { PlatewrightError } from '../../core/errors.js';
import { barsInWords } from './cuts.js';

/**
 * Adds `scan`: films of the book in, their shots into the book. Its action throws `PW-FILM-NONE`, and what the stage
 * throws.
 */
export function register(program: Command): void {
  onProduction(
    program
      .command('scan [film]')
      .description("Find the film's shots, with what using each would take. Can be stopped and goes on where it was."),
  ).action(
    action(async (film: string | undefined, o: ProductionOptions) =>
      withBook(o, async (book) => {
        const ids = film === undefined ? book.ids('film') : [book.need('film', film).id];
        if (ids.length === 0)
          throw new PlatewrightError(
            'PW-FILM-NONE',
            'the production has no film yet; add one with "platewright film add FILE"',
            { kind: 'usage' },
          );
        for (const id of ids) await runWithProgress(book, 'scan', id);
        const films = ids.map((id) => book.need('film', id));
        answer(
          o,
          films.map((f) => ({ film: f.id, ...f.cutList, summaries: f.summaries })),
          () =>
            films
              .map(
                (f) =>
                  [`${f.title}: ${counted(f.cutList!.shots.length, 'shot')}`, barsInWords(f.cutList!)]
                    .filter((line) => line !== '')
                    .join('; ') +
                  '\n' +
                  table([
                    ['shot', 'in', 'out', 'entry', 'effort', 'takes'],
                    ...(f.summaries ?? []).map((s) => [
                      String(s.index + 1),
                      String(s.in),
                      String(s.out),
                      s.entry,
                      `${Math.round(s.effortMinutes)} min`,
                      s.takes.join('; '),
                    ]),
                  ]),
              )
              .join('\n'),
        );
      }),
    ),
  );
}
