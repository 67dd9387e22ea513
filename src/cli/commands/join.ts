/** `join`: build a pick's join with one of its takes. */
import type { Command } from 'commander';
import type { JoinDocument } from '../../book/documents.js';
import { counted } from '../../core/counted.js';
import { PlatewrightError } from '../../core/errors.js';
import { startOf } from '../../jobs/join-parts.js';
import { sayShownFrames, type TakeStart } from '../../join/pace/take-start.js';
import { action, answer, table } from '../output.js';
import { readWholeNumber } from '../read-number.js';
import { PROPOSED, startAsked, withStartOptions, type StartOptions } from '../start-asked.js';
import { orSayFor } from './verdict.js';
import { fromHere, onProduction, runWithProgress, withBook, type ProductionOptions } from '../production.js';

interface Options extends ProductionOptions, StartOptions {
  take?: string;
  fine?: boolean;
  keep?: boolean;
  handToo?: boolean;
  patch?: string;
  patchPlate?: string | true;
  recipeOnly?: boolean;
}

/**
 * Adds `join`: a pick and one of its takes in; recipe and rendered join into the book. Its action throws
 * `PW-TAKE-NONE`, and what the stage throws.
 */
export function register(program: Command): void {
  onProduction(
    withStartOptions(
      program
        .command('join <pick>')
        .description(
          'Propose the recipe (unless one is there) and render the join; a stopped render goes on where it was.',
        )
        .option('--take <id>', 'which take; the best judged one unless told')
        .option('--fine', 'at full quality')
        .option('--patch <id>', "another take whose marked part (patch or head mark) is laid onto this one's")
        .option(
          '--patch-plate [frames]',
          "the plate's own marked part (an actor's head) is laid onto the joined performer's, " +
            'from so many frames later; 0 unless told',
        ),
      '; kept for later recipes with speed or points, "proposed" leaves all to the program again',
    )
      .option('--keep', 'keep the recipe as it was changed by hand')
      .option('--hand-too', 'propose anew, and put what a hand had changed onto the new recipe')
      .option('--recipe-only', 'propose the recipe, render nothing'),
  ).action(
    action(async (pick: string, o: Options) =>
      withBook(o, async (book) => {
        book.need('pick', pick);
        const weight = { fits: 0, mendable: 1, 'shoot again': 2 } as const;
        const takes = book
          .list('take')
          .filter((t) => t.pick === pick)
          .sort(
            (a, b) =>
              Number(b.star) - Number(a.star) ||
              (a.verdict === undefined ? 3 : weight[a.verdict.verdict]) -
                (b.verdict === undefined ? 3 : weight[b.verdict.verdict]),
          );
        const take = o.take ?? (o.keep === true ? book.get('join', pick)?.take : undefined) ?? takes[0]?.id;
        if (take === undefined)
          throw new PlatewrightError(
            'PW-TAKE-NONE',
            `the pick ${pick} has no take yet; ` +
              `add one with "platewright take add FILE --pick ${pick}"${orSayFor(book, pick)}`,
            { kind: 'usage' },
          );
        book.need('take', take);
        const start = startFrom(o, book.get('join', pick), take);
        const done = await runWithProgress(book, 'join', pick, {
          take,
          quality: o.fine === true ? 'fine' : 'fast',
          ...(o.keep === true ? { keep: true } : o.handToo === true || start !== undefined ? { hand: 'keep' } : {}),
          ...(start === undefined ? {} : { start }),
          ...(o.patch === undefined ? {} : { patch: o.patch }),
          ...(o.patchPlate === undefined
            ? {}
            : { platePatch: o.patchPlate === true ? 0 : readWholeNumber(o.patchPlate, 'patch-plate') }),
          ...(o.recipeOnly === true ? { recipeOnly: true } : {}),
        });
        const { replaced = [] } = done as { replaced?: readonly string[] };
        if (replaced.length > 0)
          process.stderr.write(
            (o.handToo === true || start !== undefined
              ? 'the new recipe has no place for'
              : 'the recipe was proposed anew, without what a hand had changed') +
              `: ${replaced.join('; ')}` +
              (o.handToo === true || start !== undefined
                ? ''
                : ' (--hand-too puts it onto the new recipe, --keep keeps the recipe as it was, ' +
                  '"platewright undo" goes back)') +
              '\n',
          );
        const join = book.need('join', pick);
        answer(
          o,
          join,
          (d) =>
            `${table(d.recipe.steps.map((s) => [`  ${s.step}`, s.on ? 'on' : 'off', s.why]))}\n` +
            `${sayShownFrames(d.recipe)}\n` +
            (d.render === undefined
              ? 'not rendered'
              : `rendered ${counted(d.render.frames, 'frame')}: ${fromHere(book, d.render.file)}`),
        );
      }),
    ),
  );
}

/**
 * The start asked for, what is not asked for as the join with this take had it; null: the program's own; undefined:
 * nothing is asked. Throws `PW-JOIN-START`, `PW-JOIN-PACE`, `PW-USAGE-KEEP`.
 */
function startFrom(o: Options, join: JoinDocument | null, take: string): TakeStart | null | undefined {
  const asked = startAsked(o);
  if (asked === undefined) return undefined;
  if (o.keep === true)
    throw new PlatewrightError(
      'PW-USAGE-KEEP',
      '--keep leaves the recipe as it is, and --take-from, --speed or --pace proposes it anew (what a hand changed goes with ' +
        'it); leave --keep out',
      { kind: 'usage' },
    );
  // A start left to the program is no more what the join had.
  const before = o.takeFrom === PROPOSED || join?.take !== take ? undefined : startOf(join);
  if (asked === null || asked.through !== undefined || before?.through !== undefined) return asked;
  return { ...before, ...asked };
}
