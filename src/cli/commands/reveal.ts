/** `reveal`: the reel that builds the joins up step by step. */
import type { Command } from 'commander';
import { counted } from '../../core/counted.js';
import { action, answer } from '../output.js';
import { fromHere, onProduction, runWithProgress, withBook, type ProductionOptions } from '../production.js';

/** Adds `reveal`: joined picks in, one reel below the production's folder out. */
export function register(program: Command): void {
  onProduction(
    program
      .command('reveal [picks...]')
      .description('Make the before-and-after reel of the joined picks (all of them where none is named).'),
  ).action(
    action(async (picks: string[], o: ProductionOptions) =>
      withBook(o, async (book) => {
        picks.forEach((p) => book.need('pick', p));
        const d = (await runWithProgress(book, 'reveal', '', picks.length > 0 ? { picks } : {})) as {
          file: string;
          frames: number;
        };
        answer(o, d, (x) => `the reveal is ${fromHere(book, x.file)} (${counted(x.frames, 'frame')})`);
      }),
    ),
  );
}
