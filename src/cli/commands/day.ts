/** `day`: plan the shoot day. */
import { writeFileSync } from 'node:fs';
import type { Command } from 'commander';
import type { DayPlan } from '../../brief/day-plan.js';
import { makeFile } from '../../server/files.js';
import { PlatewrightError } from '../../core/errors.js';
import { action, answer, table } from '../output.js';
import { onProduction, runWithProgress, withBook, type ProductionOptions } from '../production.js';

interface Options extends ProductionOptions {
  date?: string;
  from: string;
  to: string;
  lamp?: boolean;
  sheet?: string;
  paper: string;
  picks?: string[];
}

/**
 * Adds `day`: the briefs in, an ordered plan into the book, a call sheet where asked for. Its action throws
 * `PW-CLI-NUMBER`, and what the stage throws.
 */
export function register(program: Command): void {
  onProduction(
    program
      .command('day')
      .description("Plan the shoot day exactly: order by set-up, sun window, costume and the animal's attention.")
      .option('--date <date>', 'today unless told')
      .option('--from <hour>', 'first hour of the day', '9')
      .option('--to <hour>', 'last hour', '18')
      .option('--lamp', 'plan with lamps alone')
      .option('--picks <ids...>', 'only these')
      .option('--sheet <file>', 'also write the call sheet as PDF')
      .option('--paper <size>', 'a4 or letter', 'a4'),
  ).action(
    action(async (o: Options) =>
      withBook(o, async (book) => {
        const hour = (text: string, name: string): number => {
          if (!/^\d+(\.\d+)?$/.test(text.trim()))
            throw new PlatewrightError(
              'PW-CLI-NUMBER',
              `--${name} takes an hour of the day, as in 9 or 17.5, but got "${text}"`,
              { kind: 'usage' },
            );
          return Number(text);
        };
        await runWithProgress(book, 'day', '', {
          ...(o.date === undefined ? {} : { date: o.date }),
          fromHour: hour(o.from, 'from'),
          toHour: hour(o.to, 'to'),
          ...(o.lamp === true ? { lamp: true } : {}),
          ...(o.picks === undefined ? {} : { picks: o.picks }),
        });
        const plan = book.need('day', 'day').plan as unknown as DayPlan;
        if (o.sheet !== undefined)
          writeFileSync(o.sheet, (await makeFile(book, 'call-sheet.pdf', { paper: o.paper })).bytes);
        answer(o, plan, (d) =>
          [
            table(
              d.slots.map((s) => [`${s.start.slice(11, 16)}–${s.end.slice(11, 16)}`, s.kind, s.pick ?? '', s.note]),
            ),
            ...d.unplaced.map(
              (u) =>
                `not on this day: ${u.pick} (${book.get('pick', u.pick)?.title ?? 'no pick any more'}): ${u.reason}`,
            ),
            ...d.notes,
          ].join('\n'),
        );
      }),
    ),
  );
}
