/** `inspect`: measure whether a join shows. */
import type { Command } from 'commander';
import { inStoryOrder } from '../../book/story-order.js';
import { PlatewrightError } from '../../core/errors.js';
import { told } from '../inspection-words.js';
import { action, answer } from '../output.js';
import { onProduction, runWithProgress, withBook, type ProductionOptions } from '../production.js';

/**
 * Adds `inspect`: joined picks in, an inspection each into the book. Exit code 1 where a join shows. Its action throws
 * `PW-JOIN-NONE`, and what the stage throws.
 */
export function register(program: Command): void {
  onProduction(
    program.command('inspect [picks...]').description('Measure whether the joins show. Exit code 1 where one does.'),
  ).action(
    action(async (picks: string[], o: ProductionOptions) =>
      withBook(o, async (book) => {
        const ids = picks.length > 0 ? picks.map((p) => book.need('join', p).id) : inStoryOrder(book, book.ids('join'));
        if (ids.length === 0)
          throw new PlatewrightError(
            'PW-JOIN-NONE',
            'no pick is joined yet, so there is nothing to inspect; build one with "platewright join PICK"',
            { kind: 'usage' },
          );
        for (const id of ids) await runWithProgress(book, 'inspect', id);
        const all = ids.map((id) => ({ pick: id, inspection: book.need('join', id).inspection! }));
        answer(o, all, (d) =>
          d
            .map(
              ({ pick, inspection }) =>
                `${pick}: ${inspection.passes ? 'does not show' : 'SHOWS'}\n${told(inspection)}`,
            )
            .join('\n'),
        );
        return all.some((x) => !x.inspection.passes) ? 1 : 0;
      }),
    ),
  );
}
