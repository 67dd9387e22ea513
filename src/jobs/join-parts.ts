/** What building, previewing and revealing a join share: the recipe from the book's own measures, and its renderer. */
import type { Book } from '../book/book.js';
import type { JoinDocument, PickDocument, TakeDocument } from '../book/documents.js';
import { takePath } from '../book/take-place.js';
import { PlatewrightError } from '../core/errors.js';
import { clonePicture } from '../image/picture.js';
import type { TakeStart } from '../join/pace/take-start.js';
import { peelQuality } from '../join/peel/peel-quality.js';
import { proposeRecipe } from '../join/recipe.js';
import { JoinRenderer } from '../join/render/render.js';
import { readyTake } from '../join/take-side.js';
import type { Recipe } from '../join/types.js';
import { toLinear } from '../media/convert.js';
import { VideoReader } from '../media/video-reader.js';
import { withSeats } from '../plate/marks/seat.js';
import type { PlateMeasures } from '../plate/types.js';
import { plateClip } from './plate-clip.js';
import { joinOptions, keptScreens } from './join-options.js';

/** Which recipe is asked for. */
export interface AskedRecipe {
  readonly pick: PickDocument;
  readonly take: TakeDocument;
  readonly quality: 'fast' | 'fine';
  /** A second take of which a part is laid over the first. */
  readonly patch?: TakeDocument;
  /** The plate itself, this many frames later (or earlier, below 0), of which a part is laid over the join. */
  readonly platePatch?: number;
  /** Where a hand has the take begin, and how fast it has it go. */
  readonly start?: TakeStart;
}

/** The start that a hand chose for the join's take; undefined where it chose none. */
export function startOf(join: Pick<JoinDocument, 'recipe'> | null): TakeStart | undefined {
  const pace = join?.recipe.steps.find((s) => s.step === 'pace');
  return pace?.step === 'pace' ? pace.start : undefined;
}

/** Shares of a proposal's way at which each part of it begins and ends. */
const WAY = { 'measuring the take': [0, 0.3], 'outlining the performer': [0.3, 0.7] } as const;

/**
 * Proposes the recipe of a pick with a take from the measures in the book. Throws `PW-JOIN-UNMEASURED` where the plate
 * has no measures yet.
 *
 * @param onProgress how far it is, 0 to 1, and what is under way
 */
export async function proposeFor(
  book: Book,
  { pick, take, quality: askedQuality, patch, platePatch, start }: AskedRecipe,
  onProgress?: (share: number, doing: string) => void,
): Promise<{ recipe: Recipe; notes: readonly string[] }> {
  let far = 0;
  const measured = book.get('measures', pick.id);
  if (measured === null)
    throw new PlatewrightError(
      'PW-JOIN-UNMEASURED',
      `the plate of ${pick.id} has not been measured yet; measure it first`,
      { kind: 'usage' },
    );
  const plateFile = await plateClip(book, pick);
  const takeFile = takePath(book, take);
  const plate = await VideoReader.open(plateFile);
  try {
    const reader = await VideoReader.open(takeFile);
    try {
      const quality = peelQuality(askedQuality, reader.info);
      const { side, notes, subject, screen, seen, noScreen, screenFound, room, feet } = await readyTake(
        takeFile,
        reader,
        take.marks ?? { frame: 0, marks: [] },
        quality,
        {
          screens: keptScreens(book),
          outlines: book.cachePath('outlines'),
          measures: book.cachePath('takes'),
          onProgress: (done, total, doing) => {
            const [from, to] = WAY[doing];
            // A take that was pointed at is outlined before it is measured: nothing goes back for that.
            far = Math.max(far, from + ((to - from) * done) / total);
            onProgress?.(far, doing);
          },
        },
      );
      onProgress?.(WAY['outlining the performer'][1], 'proposing the recipe');
      const measures: PlateMeasures = { ...measured.measures, file: plateFile };
      const recipe = await proposeRecipe({
        plate: {
          measures,
          marks: withSeats(pick.marks),
          linear: async (n) => clonePicture(toLinear(await plate.frame(n))),
        },
        take: side,
        quality,
        takeHasAlpha: reader.info.hasAlpha,
        subject,
        screen,
        seen,
        noScreen,
        screenFound,
        room,
        feet,
        ...(patch === undefined
          ? {}
          : { patch: { file: book.mediaPath(patch.file), marks: patch.marks ?? { frame: 0, marks: [] } } }),
        ...(platePatch === undefined ? {} : { platePatch: { offsetFrames: platePatch } }),
        ...(start === undefined ? {} : { start }),
      });
      return { recipe: storeRecipe(book, recipe), notes };
    } finally {
      await reader.close();
    }
  } finally {
    await plate.close();
  }
}

/** The steps with the files that they name passed through `path`. */
function sourcesThrough(r: Recipe, path: (p: string) => string): Recipe['steps'] {
  return r.steps.map((s) => (s.step === 'patch' && s.source !== '' ? { ...s, source: path(s.source) } : s));
}

/** Recipes in the book name media by stored paths, so that a production's folder can be moved. */
function storeRecipe(book: Book, r: Recipe): Recipe {
  return {
    ...r,
    plate: { ...r.plate, file: book.storedPath(r.plate.file) },
    take: { ...r.take, file: book.storedPath(r.take.file) },
    steps: sourcesThrough(r, (p) => book.storedPath(p)),
  };
}

/** A stored recipe with its media where they are now; the plate clip is made again where the cache was deleted. */
export async function liveRecipe(book: Book, join: JoinDocument): Promise<Recipe> {
  const pick = book.need('pick', join.id);
  const take = book.need('take', join.take);
  return {
    ...join.recipe,
    plate: { ...join.recipe.plate, file: await plateClip(book, pick) },
    take: { ...join.recipe.take, file: takePath(book, take) },
    steps: sourcesThrough(join.recipe, (p) => book.mediaPath(p)),
  };
}

/**
 * Opens the renderer of a pick's join as its recipe stands. `aside`: what mends the plate without a clip of it works in a
 * process of its own, for a caller that has others to answer meanwhile.
 */
export async function openJoin(book: Book, id: string, aside = false): Promise<JoinRenderer> {
  const join = book.need('join', id);
  const recipe = await liveRecipe(book, join);
  return JoinRenderer.open(recipe, await joinOptions(book, id, recipe, aside));
}
