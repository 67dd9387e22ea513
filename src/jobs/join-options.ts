/** What a renderer is given beside the recipe, from the book's own measures. */
import type { Book } from '../book/book.js';
import { cameraCarrier, rideCarrier } from '../join/ride/carrier.js';
import { joinTools } from '../join/render/join-tools.js';
import { screensInFolder, type KeptScreens } from '../join/peel/kept-screens.js';
import type { JoinOptions } from '../join/render/render.js';
import type { Recipe } from '../join/types.js';
import { menderAside } from './mend-aside.js';
import { clipMender } from './mended-clip.js';

/** Models of the takes' screens, in the production's cache. */
export function keptScreens(book: Book): KeptScreens {
  return screensInFolder(book.cachePath('screens'));
}

/** @param aside the plate is mended in a process of its own where no clip of it is kept */
export async function joinOptions(book: Book, id: string, recipe: Recipe, aside = false): Promise<JoinOptions> {
  const marks = book.need('pick', id).marks;
  const measures = book.get('measures', id)?.measures;
  const carried = marks.marks.some((m) => m.kind === 'carry');
  const tools = await joinTools(recipe, marks, measures?.camera);
  const live = tools.mender === undefined || !aside ? tools.mender : menderAside(recipe, measures?.camera);
  const mender = live === undefined ? null : (clipMender(book, id, recipe, live) ?? live);
  return {
    ...tools,
    screens: keptScreens(book),
    ...(mender === null ? {} : { mender }),
    carrier: carried && measures?.ride !== undefined ? rideCarrier(measures.ride) : cameraCarrier(measures?.camera),
  };
}
