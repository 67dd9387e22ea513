/** Which steps change the plate itself, before anything is laid on it. */
import type { RecipeStep } from './types.js';

export function mendsPlate(s: RecipeStep): boolean {
  return s.on && (s.step === 'erase' || s.step === 'widen' || (s.step === 'patch' && s.onto === 'plate'));
}
