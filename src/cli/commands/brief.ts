/** `brief`: say what the home shoot must do. */
import { writeFileSync } from 'node:fs';
import type { Command } from 'commander';
import type { Brief } from '../../brief/types.js';
import { PlatewrightError } from '../../core/errors.js';
import { cueWav, sunCalendar } from '../../server/files.js';
import type { Book } from '../../book/book.js';
import { inStoryOrder } from '../../book/story-order.js';
import { studioOf } from '../../book/studio.js';
import { action, answer } from '../output.js';
import { onProduction, runWithProgress, withBook, type ProductionOptions } from '../production.js';
import { readWholeNumber } from '../read-number.js';

/** As many days as `sun` looks over. */
const MOST_DAYS = 800;

interface Options extends ProductionOptions {
  from?: string;
  days: string;
  cue?: string;
  ics?: string;
}

/**
 * Adds `brief`: measured picks in, a brief each into the book, files by --cue and --ics. Its action throws
 * `PW-BRIEF-UNMEASURED`, `PW-CLI-USAGE`, and what the stage throws.
 */
export function register(program: Command): void {
  onProduction(
    program
      .command('brief [picks...]')
      .description('What the home shoot must do for each pick: camera, screen, light, sun windows, turn, cautions.')
      .option('--from <date>', 'first date for sun windows; today unless told')
      .option('--days <n>', 'how many days of sun windows', '60')
      .option('--cue <file>', 'also write the turn cue as WAV (one pick)')
      .option('--ics <file>', 'also write the sun windows as iCalendar (one pick)'),
  ).action(
    action(async (picks: string[], o: Options) =>
      withBook(o, async (book) => {
        const ids =
          picks.length > 0 ? picks.map((p) => book.need('pick', p).id) : inStoryOrder(book, book.ids('measures'));
        if (ids.length === 0)
          throw new PlatewrightError(
            'PW-BRIEF-UNMEASURED',
            'no pick has been measured yet; run "platewright measure" first',
            { kind: 'usage' },
          );
        if (ids.length > 1 && (o.cue !== undefined || o.ics !== undefined))
          throw new PlatewrightError('PW-CLI-USAGE', '--cue and --ics go with one pick', { kind: 'usage' });
        const days = readWholeNumber(o.days, 'days', 1, MOST_DAYS);
        for (const id of ids)
          await runWithProgress(book, 'brief', id, {
            ...(o.from === undefined ? {} : { from: o.from }),
            days,
          });
        const briefs = ids.map((id) => book.need('brief', id).brief as unknown as Brief);
        if (o.cue !== undefined) writeFileSync(o.cue, cueWav(briefs[0]!));
        if (o.ics !== undefined)
          writeFileSync(o.ics, sunCalendar(briefs[0]!, book.need('production', 'production').place.name));
        answer(o, briefs, (d) => [briefsInWords(d), examplesInWords(book)].join('\n').trimEnd());
      }),
    ),
  );
}

/** Which lines of the studio nobody has put in yet, though the briefs send people somewhere by them. */
function examplesInWords(book: Book): string {
  const lines = studioOf(book).filter((r) => r.example && r.sends);
  return lines.length === 0
    ? ''
    : `\nstill the program's examples: ${lines.map((r) => `${r.name} (${r.value})`).join(', ')}; ` +
        'put in your own with "platewright studio LINE VALUE", then write the briefs anew';
}

/** The briefs one after the other; what holds for all of them is said once, at their end. */
function briefsInWords(briefs: readonly Brief[]): string {
  const same = (of: (b: Brief) => readonly string[]): readonly string[] =>
    briefs.length < 2 ? [] : of(briefs[0]!).filter((x) => briefs.every((b) => of(b).includes(x)));
  const rolled = same((b) => b.reference);
  const care = same((b) => b.cautions);
  const lines = (reference: readonly string[], cautions: readonly string[]): readonly string[] => [
    ...reference.map((x) => `  reference: ${x}`),
    ...cautions.map((x) => `  take care: ${x}`),
  ];
  const own = briefs.map((b) =>
    [
      b.title,
      ...b.instructions.map((i, k) => `  ${k + 1}. ${i}`),
      ...b.missing.map((x) => `  not known: ${x}`),
      ...lines(
        b.reference.filter((x) => !rolled.includes(x)),
        b.cautions.filter((x) => !care.includes(x)),
      ),
    ].join('\n'),
  );
  const common = lines(rolled, care);
  return [...own, ...(common.length === 0 ? [] : [['For each of them', ...common].join('\n')])].join('\n\n');
}
