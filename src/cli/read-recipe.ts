/** A recipe file given by hand: what is wrong with it is named by its place. */
import { readFileSync } from 'node:fs';
import { basename } from 'node:path';
import { z } from 'zod';
import { PlatewrightError } from '../core/errors.js';
import { STEP_ORDER, type Recipe, type StepName } from '../join/types.js';

const count = z.int().min(0);
const side = z
  .looseObject({
    in: count,
    out: count,
    widthPx: z.int().min(1),
    heightPx: z.int().min(1),
    held: z.array(count).optional(),
  })
  .refine((s) => s.out > s.in, { message: 'out must lie after in' });
const placement = z
  .array(z.object({ frame: z.int(), matrix: z.array(z.number()).length(9) }))
  .min(1, { message: 'a ride step places the performer on one frame or more' });
const step = z
  .looseObject({ step: z.enum(STEP_ORDER as readonly [StepName, ...StepName[]]), on: z.boolean() })
  .refine((s) => s.step !== 'ride' || placement.safeParse(s['placement']).success, {
    message: 'a ride step needs a placement: a frame and a matrix of nine numbers, for one frame or more',
  });
const recipe = z.looseObject({ version: z.literal(1), plate: side, take: side, steps: z.array(step).min(1) });

/**
 * Reads a recipe as `quick --json` prints it (the document's `recipe`, or the document itself), for these two files.
 * @param take null: the take that the recipe names
 * Throws `PW-JOIN-RECIPE` with the field that is wrong, and the file's own errors.
 */
export function readRecipe(file: string, plate: string, take: string | null): Recipe {
  const text = readFileSync(file, 'utf8');
  let given: unknown;
  try {
    given = JSON.parse(text);
  } catch (error) {
    throw new PlatewrightError(
      'PW-JOIN-RECIPE',
      `${basename(file)} is not JSON (${(error as Error).message}); give the recipe that quick --json prints`,
      { kind: 'input' },
    );
  }
  const inner = typeof given === 'object' && given !== null && 'recipe' in given ? given.recipe : given;
  const told = recipe.safeParse(inner);
  if (!told.success) {
    const first = told.error.issues[0]!;
    throw new PlatewrightError(
      'PW-JOIN-RECIPE',
      `${basename(file)}: ${first.path.length === 0 ? 'the recipe' : first.path.join('.')}: ${first.message}; ` +
        'give the recipe that quick --json prints',
      { kind: 'input' },
    );
  }
  const r = inner as Recipe;
  return { ...r, plate: { ...r.plate, file: plate }, take: { ...r.take, file: take ?? r.take.file } };
}
