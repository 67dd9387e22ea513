/** What of a performer has the screen's colour by right: the peel's `keep` regions where a frame of the join shows them. */
import { insidePolygon } from '../../image/polygon.js';
import { apply, multiply } from '../../geometry/mat3.js';
import { takeFrameOf } from '../../join/render/performer-source.js';
import { carryRegion, STILL } from '../../join/ride/carrier.js';
import { placementAt } from '../../join/ride/ride.js';
import { steadyMatrix } from '../../join/ride/steady.js';
import type { Recipe, RecipeStep, StepName } from '../../join/types.js';

/** Whether a point of the join, px, shows what was marked to be kept. */
export type Kept = (x: number, y: number) => boolean;

/**
 * Softness and a shifted view lay a kept thing's border beside its outline by some of its size, and what shines off it
 * reaches as far: own choice.
 */
const WIDER = 1.15;

/** Null where nothing is kept, or the recipe lays no performer by one placement. */
export function keptColour(recipe: Recipe, frame: number): Kept | null {
  const find = <N extends StepName>(n: N): Extract<RecipeStep, { step: N }> | null =>
      recipe.steps.find((s): s is Extract<RecipeStep, { step: N }> => s.step === n && s.on) ?? null,
    peel = find('peel'),
    ride = find('ride');
  if (peel?.keep === undefined || ride === null || ride.placement.length === 0 || ride.layers !== undefined)
    return null;
  const shown = takeFrameOf(recipe, frame),
    toPlate = multiply(placementAt(ride, frame), steadyMatrix(find('steady'), shown)),
    outlines = [peel.keep, ...(peel.alsoKeep ?? [])].map((k) =>
      widened(carryRegion(k, STILL)(shown).map(([x, y]) => apply(toPlate, x, y))),
    );
  return (x, y) => outlines.some((o) => insidePolygon(o, x, y));
}

/** A polygon {@link WIDER} times as large about the mean of its corners. */
function widened(polygon: readonly (readonly [number, number])[]): [number, number][] {
  const mean = (k: 0 | 1): number => polygon.reduce((s, p) => s + p[k], 0) / polygon.length,
    [mx, my] = [mean(0), mean(1)];
  return polygon.map(([x, y]) => [mx + WIDER * (x - mx), my + WIDER * (y - my)]);
}
