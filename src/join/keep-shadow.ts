/**
 * The take's own shadow kept or not: one switch on the peel, said in the why of the ground step, whose cast shadow it
 * replaces.
 */
import type { RecipeStep } from './types.js';

const SAID = "; the take's own shadow on its screen is kept in place of a cast one, and of the contact";

/** Steps of a recipe with the peel's `keepShadow` set or taken away. */
export function keepShadow(steps: readonly RecipeStep[], keep: boolean): RecipeStep[] {
  return steps.map((s): RecipeStep => {
    if (s.step === 'peel') {
      const { keepShadow: _, ...rest } = s;
      return keep ? { ...rest, keepShadow: true } : rest;
    }
    if (s.step !== 'ground') return s;
    const why = s.why.replaceAll(SAID, '');
    return { ...s, why: keep ? why + SAID : why };
  });
}
