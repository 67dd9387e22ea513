/** What the recipe plans of a frame: where the foot stands, and how far the take goes on. */
import { placementAt } from '../../join/ride/ride.js';
import type { GroundStep, Recipe, RecipeStep } from '../../join/types.js';

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

/** A foot that goes by more than this beside the place that the ride carries, px, walks of its own. */
const WALKS = 0.01;

/**
 * By how much the ground at a point of one frame moves to another one, as the recipe plans it, px: as the place under
 * the foot does, and on by as much as the ground grows in the picture between the two. A performer that walks goes over
 * the ground: there the place counts that the ride carries, not the foot.
 */
export function plannedGroundMove(
  recipe: Recipe,
  ground: GroundStep,
  before: number,
  now: number,
  point: readonly [number, number],
): [number, number] {
  const ride = recipe.steps.find((s): s is Extract<RecipeStep, { step: 'ride' }> => s.step === 'ride'),
    there = plannedFoot(recipe, before)!,
    here = plannedFoot(recipe, now)!;
  const moved = (from: readonly [number, number], to: readonly [number, number], k: number): [number, number] => [
    to[0] - from[0] + (k - 1) * (point[0] - from[0]),
    to[1] - from[1] + (k - 1) * (point[1] - from[1]),
  ];
  if (ride?.upright !== undefined && ride.placement.length > 0) {
    const [x, y] = ride.upright.ground,
      stood = (n: number): { readonly at: [number, number]; readonly size: number } => {
        const m = placementAt(ride, n),
          w = m[6] * x + m[7] * y + m[8];
        return {
          at: [(m[0] * x + m[1] * y + m[2]) / w, (m[3] * x + m[4] * y + m[5]) / w],
          size: Math.sqrt(Math.abs(m[0] * m[4] - m[1] * m[3])),
        };
      };
    const a = stood(before),
      b = stood(now);
    if (Math.hypot(here[0] - there[0] - b.at[0] + a.at[0], here[1] - there[1] - b.at[1] + a.at[1]) > WALKS)
      return moved(a.at, b.at, b.size / a.size);
  }
  const scale = (n: number): number => ground.frames.find((g) => g.frame === n)?.pxPerMetre ?? 1;
  return moved(there, here, scale(now) / scale(before));
}

/** How many take frames the recipe moves on from the frame before to this one; 1 without a curve. */
export function paceStep(recipe: Recipe, frame: number): number {
  const pace = recipe.steps.find((s) => s.step === 'pace');
  if (pace?.step !== 'pace' || !pace.on) return 1;
  const i = frame - recipe.plate.in;
  return i <= 0 || i >= pace.curve.length ? 1 : pace.curve[i]! - pace.curve[i - 1]!;
}
