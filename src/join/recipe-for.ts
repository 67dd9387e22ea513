/** A recipe of given steps for the two sides of a proposal: which spans of which files it joins. */
import type { ProposalInput } from './proposal-input.js';
import type { Recipe, RecipeStep } from './types.js';

/** A recipe over the measured spans of both sides. */
export function recipeFor({ plate, take }: Pick<ProposalInput, 'plate' | 'take'>, steps: RecipeStep[]): Recipe {
  return { version: 1, plate: spanOf(plate.measures), take: spanOf(take.measures), steps };
}

function spanOf({ file, span, rate, widthPx, heightPx }: ProposalInput['plate']['measures']): Recipe['plate'] {
  return { file, in: span.in, out: span.out, rate, widthPx, heightPx };
}
