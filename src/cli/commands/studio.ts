/** `studio`: list and change what the briefs are written for: performer, camera, place. */
import type { Command } from 'commander';
import { changeStudio, studioOf } from '../../book/studio.js';
import { PlatewrightError } from '../../core/errors.js';
import { action, answer, table } from '../output.js';
import { onProduction, withBook, type ProductionOptions } from '../production.js';

/**
 * Adds `studio`: shows the lines that briefs are written for, or changes one. Its action throws `PW-CLI-USAGE`, and
 * what the stage throws.
 */
export function register(program: Command): void {
  onProduction(
    program
      .command('studio [line] [value]')
      .description(
        'What the studio has and briefs are written for: performer, camera with its lenses, place, room. ' +
          'With a line and its value it changes it in the book; "undo" takes that back.',
      ),
  ).action(
    action(async (line: string | undefined, value: string | undefined, o: ProductionOptions) =>
      withBook(o, async (book) => {
        if (line !== undefined) {
          if (value === undefined)
            throw new PlatewrightError(
              'PW-CLI-USAGE',
              `say what ${line} is to be: platewright studio ${line} "VALUE"`,
              { kind: 'usage' },
            );
          changeStudio(book, line, value);
        }
        answer(o, studioOf(book), (d) =>
          table([['line', 'value', 'what it is'], ...d.map((r) => [r.name, r.value, `${r.title}: ${r.hint}`])]),
        );
      }),
    ),
  );
}
