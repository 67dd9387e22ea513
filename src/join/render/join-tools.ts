/**
 * What the renderer is handed for a recipe: the peel, the in-between of frames, the mended plate, and the set's motion.
 */
import type { MarksFile } from '../../plate/marks/marks.js';
import type { CameraMove } from '../../plate/types.js';
import { mendsPlate } from './mends-plate.js';
import type { InBetween, PerformerTools } from './performer-source.js';
import type { JoinOptions } from './render.js';
import { screenPeeler } from '../peel/screen-peeler.js';
import type { Recipe } from '../types.js';

/** What most recipes have no use for is loaded when it is: every thread of a render begins with these. */
function betweenOnNeed(): InBetween {
  let made: Promise<InBetween> | null = null;
  const between: InBetween = async (a, b, t) =>
    (await (made ??= import('../pace/paced-performer.js').then((m) => m.performersBetween())))(a, b, t);
  return Object.assign(between, {
    close: () =>
      void made?.then(
        (m) => m.close?.(),
        () => undefined,
      ),
  });
}

/** @param camera the plate's measured move; where the plate is mended and it is not given, it is measured again. */
export async function joinTools(recipe: Recipe, _marks: MarksFile | null, camera?: CameraMove): Promise<JoinOptions> {
  const mender = recipe.steps.some(mendsPlate) ? (await import('./plate-mender.js')).plateMender(recipe, camera) : null;
  const ownTools: PerformerTools = {
    screenPeeler,
    inBetween: betweenOnNeed(),
    takePatcher: async (step) => (await import('../patch/patch-take.js')).takePatcher(step, recipe.take.file),
  };
  return { ...ownTools, ownTools, ...(mender === null ? {} : { mender }) };
}
