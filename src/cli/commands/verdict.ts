/** `verdict`: judge takes against their pick. */
import type { Command } from 'commander';
import type { Book } from '../../book/book.js';
import { isFilmed } from '../../book/filmed.js';
import { PlatewrightError } from '../../core/errors.js';
import { verdictHolds } from '../../jobs/stale.js';
import type { Verdict } from '../../take/types.js';
import { judgedWords, matterTitle, measuredWords, needWords } from '../../take/verdict/matter-words.js';
import { action, answer, table } from '../output.js';
import { withMarksFileNames } from '../marks-file-words.js';
import { onProduction, runWithProgress, withBook, type ProductionOptions } from '../production.js';

/**
 * Adds `verdict`: takes in, a verdict each into the book. Exit code 1 where a take must be shot again. Its action
 * throws `PW-TAKE-NONE`, and what the stage throws.
 */
export function register(program: Command): void {
  onProduction(
    program
      .command('verdict [ids...]')
      .description(
        'Judge takes against their pick: fits, mendable, or shoot again, with what to change. ' +
          "A pick's id stands for all its takes. Exit code 1 where one must be shot again.",
      )
      .option('--pick <id>', 'all takes of one pick')
      .option('--again', 'judge anew where nothing has changed since the last verdict, too'),
  ).action(
    action(async (named: string[], o: ProductionOptions & { pick?: string; again?: boolean }) =>
      withBook(o, async (book) => {
        const ids = takesToJudge(book, named, o.pick);
        if (ids.length === 0)
          throw new PlatewrightError(
            'PW-TAKE-NONE',
            'there is no take to judge; ' +
              `add one with "platewright take add FILE --pick ${o.pick ?? 'ID'}"${orSayFor(book, o.pick)}`,
            { kind: 'usage' },
          );
        const judged = [];
        for (const id of ids) {
          // Judging may take minutes: what was told of a take is not lost where a later one is stopped.
          const kept = o.again !== true && verdictHolds(book, book.need('take', id));
          if (!kept) await runWithProgress(book, 'verdict', id);
          const take = { take: id, ...book.need('take', id).verdict! };
          judged.push(take);
          if (o.json !== true) answer(o, take, (v) => verdictText(v, kept));
        }
        if (o.json === true) answer(o, judged, () => '');
        return judged.some((v) => v.verdict === 'shoot again') ? 1 : 0;
      }),
    ),
  );
}

/** A take's verdict in words: whatever does not fit, with what to change. `kept`: it was judged so before. */
export function verdictText(v: Verdict & { take: string }, kept = false): string {
  const said = [`best span ${v.span.in}–${v.span.out}`, judgedWords(v.matters), kept ? 'as judged before' : ''];
  return [
    `${v.take}: ${v.verdict.toUpperCase()} (${said.filter((w) => w !== '').join('; ')})`,
    table(
      v.matters
        .filter((m) => m.verdict !== 'fits')
        .map((m) => [
          `  ${matterTitle(m.matter)}`,
          m.verdict ?? 'not judged',
          measuredWords(m),
          needWords(m),
          withMarksFileNames(m.change || (m.reason ?? '')),
        ]),
    ),
    ...v.notes.filter((n) => !n.startsWith('not judged:')).map((n) => `  ${withMarksFileNames(n)}`),
  ]
    .filter((line) => line !== '')
    .join('\n');
}

/** The way out where takes are there that are for no pick yet; nothing where there are none. */
export function orSayFor(book: Book, pick = 'PICK'): string {
  const loose = book.list('take').find((t) => t.pick === null);
  return loose === undefined
    ? ''
    : `, or say which pick a take that is there is for: "platewright take for ${loose.id} ${pick}"`;
}

/**
 * Ids of the takes that are to be judged: those named, those of the picks named, those of `pick`, else all that are
 * for a pick. Stills and drawings are not judged unless named.
 */
export function takesToJudge(book: Book, named: readonly string[], pick?: string): string[] {
  if (pick !== undefined) book.need('pick', pick);
  const filmed = book.list('take').filter((t) => t.pick !== null && isFilmed(t));
  if (named.length === 0) return filmed.filter((t) => pick === undefined || t.pick === pick).map((t) => t.id);
  // Every other command is given picks: a pick's id is understood here too. A take of that name comes first.
  return [
    ...new Set(
      named.flatMap((id) =>
        book.get('take', id) === null && book.get('pick', id) !== null
          ? filmed.filter((t) => t.pick === id).map((t) => t.id)
          : [book.need('take', id).id],
      ),
    ),
  ];
}
