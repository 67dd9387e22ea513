/** One join from two loose files: measure, propose, render. */
import { PlatewrightError } from '../core/errors.js';
import { VideoReader } from '../media/video-reader.js';
import type { MarksFile } from '../plate/marks.js';
import type { CameraMove } from '../plate/types.js';
import type { VideoInfo } from '../media/types.js';
import { plane } from '../image/picture.js';
import { percentiles } from '../image/statistics.js';
import { cameraCarrier, type Carrier } from './carrier.js';
import { screensInMemory, type KeptScreens, type ScreensOfTake } from './kept-screens.js';
import { proposeRecipe } from './recipe.js';
import type { SubjectStatistics } from './light.js';
import type { PerformerPicture } from './performer.js';
import type { SeenInTake } from './proposal-input.js';
import { outlineRegion, screenRegion, withScreenPart } from './screen-part.js';
import { turnedFrames } from './turned-frames.js';
import { measurePlateSide, measureTakeSide } from './sides.js';
import { probeScreen, probeWithoutScreen, type FoundScreen } from './screen-peeler.js';
import type { Recipe } from './types.js';

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

const EMPTY: MarksFile = { frame: 0, marks: [] };

/** Measures both files and proposes the recipe. Throws what the measures and the proposal throw. */
export async function proposeFromFiles(plateFile: string, takeFile: string, plateMarks: MarksFile, takeMarks: MarksFile | null, quality: 'fast' | 'fine', patch?: { readonly file: string; readonly marks: MarksFile; readonly offsetFrames?: number }, platePatch?: { readonly offsetFrames: number }): Promise<QuickProposal> {
  const plate = await VideoReader.open(plateFile), take = await VideoReader.open(takeFile);
  try {
    const p = await measurePlateSide(plateFile, plate, plateMarks);
    const bounded = await withScreenPart(take, takeMarks ?? EMPTY);
    const t = await measureTakeSide(takeFile, take, bounded.marks);
    const screens = screensInMemory();
    const { subject, screen, seen, noScreen } = await subjectOf(take, quality, bounded.marks, { screens, file: takeFile });
    const recipe = await proposeRecipe({ plate: p.side, take: t.side, quality, takeHasAlpha: take.info.hasAlpha, subject, screen, seen, noScreen, screenFound: bounded.found, ...(patch === undefined ? {} : { patch }), ...(platePatch === undefined ? {} : { platePatch }) });
    return { recipe, notes: [...p.notes, ...t.notes], plateInfo: plate.info, carrier: cameraCarrier(p.side.measures.camera), camera: p.side.measures.camera, screens };
  } finally {
    await Promise.all([plate.close(), take.close()]);
  }
}

/** What a proposal knows of the performer and of what stands behind it. */
export interface Subject {
  readonly subject: SubjectStatistics | null;
  readonly screen: FoundScreen | null;
  readonly seen: SeenInTake | null;
  /** Why the take counts as one without a screen; null where it has one, or nobody could tell. */
  readonly noScreen: string | null;
}

/** Colour statistics of the performer at the middle of the take, what was seen of it there, and the screen behind it; null where it can't be peeled yet. */
export async function subjectOf(take: VideoReader, quality: 'fast' | 'fine', marks: MarksFile, kept?: ScreensOfTake): Promise<Subject> {
  const unknown: Subject = { subject: null, screen: null, seen: null, noScreen: null };
  if (take.info.hasAlpha) return unknown;
  const outline = outlineRegion(marks), garbage = screenRegion(marks);
  let noScreen: string | null = null;
  try {
    if (outline === undefined) {
      const wanted = turnedFrames(marks, take.info.frameCount);
      const found = await probeScreen(take, quality, marks.cleanFrame, garbage, kept, wanted.map((f) => f.frame)).catch((error: unknown) => {
        if (!(error instanceof PlatewrightError) || error.code !== 'PW-PEEL-NO-SCREEN') throw error;
        return null;
      });
      noScreen = found === null ? 'nothing green or blue is seen in it' : found.screen.doubt;
      // A screen whose useful part was marked is one, whatever it looks like.
      if (found !== null && (noScreen === null || garbage !== undefined && marks.cleanFrame === undefined)) {
        const { performer, frame, others, screen } = found;
        return { subject: statisticsOf(performer), screen, seen: { frame, performer, ...(wanted.length === 0 ? {} : { turned: wanted.map((f, i) => ({ ...f, performer: others[i]! })) }) }, noScreen: null };
      }
    }
    const found = await probeWithoutScreen(take, quality, { ...(outline === undefined ? {} : { outline }), ...(marks.cleanFrame === undefined ? {} : { cleanFrame: marks.cleanFrame }), ...(garbage === undefined ? {} : { garbage }) });
    return found === null ? { ...unknown, noScreen } : { subject: statisticsOf(found.performer), screen: null, seen: found, noScreen };
  } catch (error) {
    // A take that cannot be peeled has no statistics; the recipe then says so. Anything else is a fault.
    if (!(error instanceof PlatewrightError)) throw error;
    return { ...unknown, noScreen };
  }
}

export function statisticsOf(p: PerformerPicture): SubjectStatistics | null {
  const n = p.picture.width * p.picture.height;
  const a = plane(p.picture, 3);
  const luma: number[] = [];
  const mean = [0, 0, 0];
  for (let i = 0; i < n; i++) {
    if (a[i]! < 0.98) continue;
    let y = 0;
    for (let c = 0; c < 3; c++) { const v = p.picture.data[c * n + i]! / a[i]!; mean[c]! += v; y += v * [0.2126, 0.7152, 0.0722][c]!; }
    luma.push(y);
  }
  if (luma.length < 100) return null;
  return { mean: mean.map((v) => v / luma.length) as [number, number, number], percentiles: percentiles(Float32Array.from(luma), [1, 5, 50, 95, 99]) as unknown as SubjectStatistics['percentiles'] };
}
