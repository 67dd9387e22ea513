/** Which steps change the plate itself, before anything is laid on it, and which the joined picture. */
import type { Recipe, RecipeStep } from '../types.js';
import type { PatchStep } from '../performer-steps.js';

/** Whether a step changes the plate before anything is laid on it. */
export function mendsPlate(s: RecipeStep): boolean {
  return s.on && (s.step === 'erase' || s.step === 'widen' || (s.step === 'patch' && s.onto === 'plate'));
}

/** The step of a recipe that lays a part of the plate onto the joined performer, or null. */
export function joinPatchOf(recipe: Recipe): PatchStep | null {
  return recipe.steps.find((s): s is PatchStep => s.step === 'patch' && s.on && s.onto === 'join') ?? null;
}
