/** What the renderer is handed for a recipe: the peel, the in-between of frames, the mended plate, and the set's motion. */
import type { MarksFile } from '../plate/marks.js';
import { performerBetween } from './paced-performer.js';
import type { CameraMove } from '../plate/types.js';
import { takePatcher } from './patch-take.js';
import type { PerformerTools } from './performer-source.js';
import { plateMender } from './plate-mender.js';
import type { JoinOptions } from './render.js';
import { screenPeeler } from './screen-peeler.js';
import type { Recipe } from './types.js';

/** @param camera the plate's measured move; where the plate is mended and it is not given, it is measured again. */
export async function joinTools(recipe: Recipe, _marks: MarksFile | null, camera?: CameraMove): Promise<JoinOptions> {
  const mender = plateMender(recipe, camera);
  const ownTools: PerformerTools = { screenPeeler, inBetween: performerBetween, takePatcher: (step) => takePatcher(step, recipe.take.file) };
  return { ...ownTools, ownTools, ...(mender === null ? {} : { mender }) };
}
