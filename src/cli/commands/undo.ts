/** `undo`: take back the last edits of the book, or do them again. */
import type { Command } from 'commander';
import { action, answer } from '../output.js';
import { onProduction, withBook, type ProductionOptions } from '../production.js';

/**
 * Adds `undo`: one edit of the book taken back or done again, or the history shown. Exit code 1 where there is nothing
 * to take back or do again.
 */
export function register(program: Command): void {
  onProduction(
    program
      .command('undo')
      .description('Take back the last edit of the book; --redo does it again. Works after a restart too.')
      .option('--redo', 'do the last undone edit again')
      .option('--list', 'show the history'),
  ).action(
    action(async (o: ProductionOptions & { redo?: boolean; list?: boolean }) =>
      withBook(o, async (book) => {
        if (o.list === true) {
          answer(
            o,
            book.history(),
            (d) =>
              d
                .map((h) => `${h.undone ? '(undone) ' : ''}${h.at.slice(0, 19).replace('T', ' ')}  ${h.title}`)
                .join('\n') || 'no edit yet',
          );
          return 0;
        }
        const done = o.redo === true ? book.redo() : book.undo();
        answer(o, { edit: done }, (d) =>
          d.edit === null
            ? `nothing to ${o.redo === true ? 'do again' : 'take back'}`
            : `${o.redo === true ? 'did again' : 'took back'}: ${d.edit.title}`,
        );
        return done === null ? 1 : 0;
      }),
    ),
  );
}
