/** One join from two loose files: measure, propose, render. */
import { framesPerSecond } from '../core/rational.js';
import { VideoReader } from '../media/video-reader.js';
import type { MarksFile } from '../plate/marks/marks.js';
import { measureCameraMove } from '../plate/camera/camera-move.js';
import { readerLumaSource } from '../plate/ride/reader-luma-source.js';
import type { CameraMove } from '../plate/types.js';
import type { VideoInfo } from '../media/types.js';
import { cameraCarrier, type Carrier } from './ride/carrier.js';
import { requireStand } from './ride/standing.js';
import type { TakeStart } from './pace/take-start.js';
import { screensInMemory, type KeptScreens } from './peel/kept-screens.js';
import { peelQuality } from './peel/peel-quality.js';
import { proposeRecipe } from './recipe.js';
import { measurePlateSide } from './sides.js';
import { readyTake } from './take-side.js';
import type { Recipe } from './types.js';

/** A proposed recipe, and what rendering it needs beside it. */
export interface QuickProposal {
  readonly recipe: Recipe;
  readonly notes: readonly string[];
  readonly plateInfo: VideoInfo;
  /** The set's motion, for regions of the plate drawn on single frames. */
  readonly carrier: Carrier;
  /** The plate's measured move, which mending it needs. */
  readonly camera: CameraMove | undefined;
  /** The take's screen as it was modelled for the proposal. */
  readonly screens: KeptScreens;
}

/**
 * What rendering a recipe that is there already needs beside it: nothing is proposed, and the plate's move is measured
 * only where a step goes by it.
 */
export async function readyForRecipe(recipe: Recipe): Promise<Omit<QuickProposal, 'recipe'>> {
  const plate = await VideoReader.open(recipe.plate.file);
  try {
    const wanted = recipe.steps.some(
      (s) =>
        s.on &&
        (s.step === 'erase' ||
          s.step === 'widen' ||
          s.step === 'front' ||
          s.step === 'patch' ||
          (s.step === 'ground' && (s.receiverRegion !== undefined || s.reflection !== undefined))),
    );
    const camera = wanted
      ? await measureCameraMove(readerLumaSource(plate), {
          framesPerSecond: framesPerSecond(plate.info.rate),
          span: { in: recipe.plate.in, out: recipe.plate.out },
        })
      : undefined;
    return { notes: [], plateInfo: plate.info, carrier: cameraCarrier(camera), camera, screens: screensInMemory() };
  } finally {
    await plate.close();
  }
}

const EMPTY: MarksFile = { frame: 0, marks: [] };

/** What may be asked of a join of two loose files beside the files. */
export interface QuickOptions {
  /** Another take whose marked part is laid onto this one's, so many frames later. */
  readonly patch?: { readonly file: string; readonly marks: MarksFile; readonly offsetFrames?: number };
  /** The plate's own marked part is laid onto the joined performer, from so many frames later. */
  readonly platePatch?: { readonly offsetFrames: number };
  readonly start?: TakeStart;
  /** How far each file's measuring is. */
  readonly onProgress?: (what: 'plate' | 'take' | 'outline', done: number, total: number) => void;
}

/** Measures both files and proposes the recipe. Throws what the measures and the proposal throw. */
export async function proposeFromFiles(
  plateFile: string,
  takeFile: string,
  plateMarks: MarksFile,
  takeMarks: MarksFile | null,
  asked: 'fast' | 'fine',
  { patch, platePatch, start, onProgress }: QuickOptions = {},
): Promise<QuickProposal> {
  requireStand(plateMarks, takeMarks ?? EMPTY);
  const plate = await VideoReader.open(plateFile),
    take = await VideoReader.open(takeFile);
  try {
    const p = await measurePlateSide(plateFile, plate, plateMarks, undefined, (d, n) => onProgress?.('plate', d, n));
    const quality = peelQuality(asked, take.info),
      screens = screensInMemory(),
      t = await readyTake(takeFile, take, takeMarks ?? EMPTY, quality, {
        screens,
        onProgress: (d, n, doing) => onProgress?.(doing === 'measuring the take' ? 'take' : 'outline', d, n),
      });
    const { subject, screen, seen, noScreen, screenFound, room, feet } = t;
    const recipe = await proposeRecipe({
      plate: p.side,
      take: t.side,
      quality,
      takeHasAlpha: take.info.hasAlpha,
      subject,
      screen,
      seen,
      noScreen,
      screenFound,
      room,
      feet,
      ...(patch === undefined ? {} : { patch }),
      ...(platePatch === undefined ? {} : { platePatch }),
      ...(start === undefined ? {} : { start }),
    });
    return {
      recipe,
      notes: [...p.notes, ...t.notes],
      plateInfo: plate.info,
      carrier: cameraCarrier(p.side.measures.camera),
      camera: p.side.measures.camera,
      screens,
    };
  } finally {
    await Promise.all([plate.close(), take.close()]);
  }
}
