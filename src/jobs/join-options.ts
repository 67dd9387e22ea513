/** What a renderer is given beside the recipe: how regions are carried, how a screen take is peeled. */
import type { Book } from '../book/book.js';
import { cameraCarrier, rideCarrier } from '../join/carrier.js';
import type { JoinOptions } from '../join/render.js';
import { screenPeeler } from '../join/screen-peeler.js';
import type { Recipe } from '../join/types.js';

export async function joinOptions(book: Book, id: string, recipe: Recipe): Promise<JoinOptions> {
  void recipe;
  const measures = book.get('measures', id)?.measures;
  const carried = book.need('pick', id).marks.marks.some((m) => m.kind === 'carry');
  return { screenPeeler, carrier: carried && measures?.ride !== undefined ? rideCarrier(measures.ride) : cameraCarrier(measures?.camera) };
}
