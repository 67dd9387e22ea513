/** What the recipe plans of a frame: where the foot stands, and how far the take goes on. */
import { placementAt } from '../../join/ride/ride.js';
import type { Recipe, RecipeStep } from '../../join/types.js';

/**
 * Planned place of the foot on a frame, px of the plate: the ground step's, else about where a foot stands in the
 * ride's picture; null without either.
 */
export function plannedFoot(recipe: Recipe, frame: number): [number, number] | null {
  const find = <N extends RecipeStep['step']>(n: N): Extract<RecipeStep, { step: N }> | undefined =>
    recipe.steps.find((s): s is Extract<RecipeStep, { step: N }> => s.step === n);
  const ground = find('ground'),
    ride = find('ride'),
    g = ground?.on === true ? ground.frames.find((f) => f.frame === frame) : undefined;
  if (g !== undefined) return [g.foot[0], g.foot[1]];
  if (ride === undefined || ride.placement.length === 0) return null;
  const m = placementAt(ride, frame),
    x = recipe.take.widthPx / 2,
    y = recipe.take.heightPx * 0.8,
    w = m[6] * x + m[7] * y + m[8];
  return [(m[0] * x + m[1] * y + m[2]) / w, (m[3] * x + m[4] * y + m[5]) / w];
}

/** How many take frames the recipe moves on from the frame before to this one; 1 without a curve. */
export function paceStep(recipe: Recipe, frame: number): number {
  const pace = recipe.steps.find((s) => s.step === 'pace');
  if (pace?.step !== 'pace' || !pace.on) return 1;
  const i = frame - recipe.plate.in;
  return i <= 0 || i >= pace.curve.length ? 1 : pace.curve[i]! - pace.curve[i - 1]!;
}
