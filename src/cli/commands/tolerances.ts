/** `tolerances`: list and change the limits of the verdict and the performer's attention. */
import type { Command } from 'commander';
import { changeSetting, settingsOf } from '../../book/settings.js';
import { PlatewrightError } from '../../core/errors.js';
import { action, answer, table } from '../output.js';
import { onProduction, withBook, type ProductionOptions } from '../production.js';

interface Options extends ProductionOptions {
  reset?: boolean;
}

/**
 * Adds `tolerances`: shows the limits, or changes or brings back one. Its action throws `PW-CLI-NUMBER`,
 * `PW-CLI-USAGE`, and what the stage throws.
 */
export function register(program: Command): void {
  onProduction(
    program
      .command('tolerances [name] [numbers...]')
      .description(
        'How far a take may stray before it is mendable, and before it must be shot again; ' +
          'and how long the performer attends. With a name and its numbers it changes them in the book; ' +
          '"undo" takes that back.',
      )
      .option('--reset', "bring back the program's own number"),
  ).action(
    action(async (name: string | undefined, numbers: string[], o: Options) =>
      withBook(o, async (book) => {
        if (name !== undefined) {
          const values = numbers.map((text) => {
            const v = Number(text);
            if (text.trim() === '' || !Number.isFinite(v))
              throw new PlatewrightError('PW-CLI-NUMBER', `"${text}" is not a number`, { kind: 'usage' });
            return v;
          });
          if (o.reset !== true && values.length === 0)
            throw new PlatewrightError('PW-CLI-USAGE', `say the numbers for ${name}, or --reset`, { kind: 'usage' });
          if (o.reset === true && values.length > 0)
            throw new PlatewrightError('PW-CLI-USAGE', '--reset takes no numbers', { kind: 'usage' });
          changeSetting(book, name, o.reset === true ? null : values);
        } else if (o.reset === true)
          throw new PlatewrightError('PW-CLI-USAGE', 'say which tolerance to bring back', { kind: 'usage' });
        answer(o, settingsOf(book), (d) =>
          [
            table([
              ['tolerance', 'fits', 'mendable', 'unit', "the program's own"],
              ...d.tolerances.map((t) => [
                t.name,
                String(t.fits),
                t.sense === 'one' ? '' : String(t.mendable),
                t.unit,
                t.changed
                  ? t.sense === 'one'
                    ? String(t.defaultFits)
                    : `${t.defaultFits} and ${t.defaultMendable}`
                  : '',
              ]),
            ]),
            table([
              ['attention', 'value', 'unit', "the program's own"],
              ...d.attention.map((a) => [a.name, String(a.value), a.unit, a.changed ? String(a.default) : '']),
            ]),
            d.note,
          ].join('\n\n'),
        );
      }),
    ),
  );
}
