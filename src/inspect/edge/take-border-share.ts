/** The take's border (take-border.ts) as a recipe lays it on a frame: how much of the performer's height it cuts. */
import { multiply } from '../../geometry/mat3.js';
import type { Box } from '../../join/ground/ground.js';
import { takeFrameOf } from '../../join/render/performer-source.js';
import { placementAt } from '../../join/ride/ride.js';
import { steadyMatrix } from '../../join/ride/steady.js';
import type { Recipe } from '../../join/types.js';
import type { SeenFrame } from '../reader/frame.js';
import { readTakeBorder } from './take-border.js';

/** A paw that stands on the take's border is cut by less than this, px. */
const LEAST_CUT = 8;

/**
 * The longest straight cut by the take's border, as a share of the performer's height, and where; null where the recipe
 * lays no take with a border of its own.
 */
export function borderShare(recipe: Recipe, f: SeenFrame): { readonly share: number; readonly at?: Box } | null {
  const ride = recipe.steps.find((s) => s.step === 'ride'),
    steady = recipe.steps.find((s) => s.step === 'steady'),
    front = recipe.steps.find((s) => s.step === 'front'),
    peel = recipe.steps.find((s) => s.step === 'peel');
  const method = peel?.step === 'peel' && peel.on ? peel.method : 'none';
  // A picture used as it is has its own sides for its shape: no cut.
  if (method === 'none' || method === 'alpha') return null;
  if (f.box === null || ride?.step !== 'ride' || !ride.on || ride.placement.length === 0 || ride.layers !== undefined)
    return null;
  const toPlate = multiply(
    placementAt(ride, f.frame),
    steadyMatrix(steady?.step === 'steady' && steady.on ? steady : null, takeFrameOf(recipe, f.frame)),
  );
  const window =
    front?.step === 'front' && front.within !== undefined
      ? front.within
      : ([0, 0, f.join.width, f.join.height] as const);
  const cut = readTakeBorder(
    f.matte,
    f.join.width,
    f.join.height,
    toPlate,
    [recipe.take.widthPx, recipe.take.heightPx],
    window,
    ride.view !== undefined,
  );
  return cut === null || cut.lengthPx < LEAST_CUT
    ? { share: 0 }
    : { share: cut.lengthPx / Math.max(1, f.box[3] - f.box[1]), at: cut.at };
}
