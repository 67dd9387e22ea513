/** `examine PLATE JOIN`: does a loose join show, whatever made it. */
import { basename } from 'node:path';
import type { Command } from 'commander';
import { PlatewrightError } from '../../core/errors.js';
import { inspectJoin } from '../../inspect/inspect.js';
import { joinTools } from '../../join/render/join-tools.js';
import { proposeFromFiles } from '../../join/quick.js';
import type { JoinOptions } from '../../join/render/render.js';
import type { Recipe } from '../../join/types.js';
import { readRecipe } from '../read-recipe.js';
import { action, answer, progressPrinter } from '../output.js';
import { readMarks } from '../read-marks.js';
import { readWholeNumber } from '../read-number.js';
import { told } from '../inspection-words.js';

interface ExamineOptions {
  matte?: string;
  recipe?: string;
  take?: string;
  marks?: string;
  takeMarks?: string;
  clean?: string;
  from?: string;
  json?: boolean;
}

/**
 * Adds `examine`: plate and join as loose files in, an inspection out. Exit code 1 where the join shows. Its action
 * throws `PW-INSPECT-MARKS`, and what the stage throws.
 */
export function register(program: Command): void {
  program
    .command('examine <plate> <join>')
    .description(
      'Does a loose join show? Reads it beside its plate; the more is given, the more is judged. ' +
        'Exit code 1 where it shows.',
    )
    .option(
      '--matte <file>',
      "the performer as seen, grey (.mkv); without it the recipe's is rendered, " +
        'or a rough one is read from what differs from the plate',
    )
    .option('--recipe <json>', 'the recipe that it was rendered from (what `quick --json` prints, or its `recipe`)')
    .option('--take <file>', 'the take; with --marks a recipe is proposed to hold the join against')
    .option('--marks <json>', 'marks on the plate, with --take')
    .option('--take-marks <json>', 'marks on the take')
    .option('--clean <file>', 'the plate without what was erased')
    .option('--from <frame>', 'frame of the plate that the join begins with, where no recipe says so', '0')
    .option('--json', 'one JSON document')
    .action(
      action(async (plate: string, join: string, o: ExamineOptions) => {
        const { recipe, tools } = await recipeOf(plate, o);
        const from = readWholeNumber(o.from ?? '0', 'from', 0);
        const inspection = await inspectJoin(
          {
            plate,
            join,
            plateFrom: from,
            ...(o.matte === undefined ? {} : { matte: o.matte }),
            ...(o.clean === undefined ? {} : { clean: o.clean }),
            ...(recipe === undefined ? {} : { recipe }),
            ...(tools === undefined ? {} : { tools }),
          },
          { onProgress: progressPrinter('inspection') },
        );
        answer(o, inspection, (d) => `${basename(join)}: ${d.passes ? 'does not show' : 'SHOWS'}\n${told(d)}`);
        return inspection.passes ? 0 : 1;
      }),
    );
}

async function recipeOf(
  plate: string,
  o: ExamineOptions,
): Promise<{ recipe?: Recipe; tools?: () => Promise<JoinOptions> }> {
  if (o.recipe !== undefined) {
    const recipe = readRecipe(o.recipe, plate, o.take ?? null);
    const tools = joinTools(recipe, null);
    return { recipe, tools: () => tools };
  }
  if (o.take === undefined) return {};
  if (o.marks === undefined)
    throw new PlatewrightError(
      'PW-INSPECT-MARKS',
      'a take alone does not say where its performer belongs in the plate; ' +
        "give the plate's marks with --marks, or a recipe with --recipe",
      { kind: 'usage' },
    );
  const marks = readMarks(o.marks);
  const takeMarks = o.takeMarks === undefined ? null : readMarks(o.takeMarks);
  const p = await proposeFromFiles(plate, o.take, marks, takeMarks, 'fast');
  const made = { ...(await joinTools(p.recipe, marks, p.camera)), carrier: p.carrier, screens: p.screens };
  return { recipe: p.recipe, tools: () => Promise.resolve(made) };
}
