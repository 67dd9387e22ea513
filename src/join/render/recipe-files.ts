/** The files of a recipe, and all of it that what is made ready for them hangs on. */
import { PlatewrightError } from '../../core/errors.js';
import { VideoReader } from '../../media/video-reader.js';
import type { Recipe, StepName } from '../types.js';

/** Opens plate and take, to be closed by the caller. Throws `PW-JOIN-SIZE` where one is not what the recipe is for. */
export async function openFiles(recipe: Recipe): Promise<{ readonly plate: VideoReader; readonly take: VideoReader }> {
  const plate = await VideoReader.open(recipe.plate.file);
  let take: VideoReader;
  try {
    take = await VideoReader.open(recipe.take.file);
  } catch (error) {
    await plate.close();
    throw error;
  }
  const wrong = fits(plate, recipe.plate) ? (fits(take, recipe.take) ? null : 'take') : 'plate';
  if (wrong === null) return { plate, take };
  const meant = recipe[wrong];
  const { widthPx, heightPx } = (wrong === 'plate' ? plate : take).info;
  await Promise.all([plate.close(), take.close()]);
  throw new PlatewrightError(
    'PW-JOIN-SIZE',
    `the recipe was made for a ${wrong} of ${meant.widthPx} × ${meant.heightPx}, ` +
      `but ${meant.file} is ${widthPx} × ${heightPx}; propose the recipe anew`,
  );
}

function fits(reader: VideoReader, to: { readonly widthPx: number; readonly heightPx: number }): boolean {
  return reader.info.widthPx === to.widthPx && reader.info.heightPx === to.heightPx;
}

/** All of a recipe that files, mended plate and the screen's model hang on. */
export function setUpOf(r: Recipe): string {
  const before: readonly StepName[] = ['erase', 'widen', 'peel', 'patch', 'pace'];
  const air = r.steps.find((s) => s.step === 'air');
  const steps = r.steps.filter((s) => before.includes(s.step)).map((s) => (s.step === 'peel' ? { ...s, spill: 0 } : s));
  return JSON.stringify([r.plate, r.take, steps, air?.plateGrain, air?.seed]);
}
