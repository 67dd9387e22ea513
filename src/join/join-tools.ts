/** What the renderer is handed for a recipe: the peel, the in-between of frames, the mended plate, and the set's motion. */
import type { MarksFile } from '../plate/marks.js';
import { performerBetween } from './paced-performer.js';
import type { JoinOptions } from './render.js';
import { screenPeeler } from './screen-peeler.js';
import type { Recipe } from './types.js';

export async function joinTools(_recipe: Recipe, _marks: MarksFile | null): Promise<JoinOptions> {
  return { screenPeeler, inBetween: performerBetween };
}
