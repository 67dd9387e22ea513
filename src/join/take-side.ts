/**
 * A take made ready for a proposal: its marks bounded (screen's useful part, outlines on every frame), measured, and
 * the performer looked at.
 */
import { screensInMemory, type KeptScreens } from './peel/kept-screens.js';
import { keptTake, keptTakeKey } from './kept-takes.js';
import { clonePicture } from '../image/picture.js';
import { toLinear } from '../media/convert.js';
import { outlinesByMotion, outlinesOfMarks, type OutlinesOfTake } from './outline/marked-take.js';
import type { VideoReader } from '../media/video-reader.js';
import type { MarksFile } from '../plate/marks/marks.js';
import { isLayered } from './ride/propose-layers.js';
import { subjectOf, type Subject } from './subject.js';
import { measureTakeSide } from './sides.js';
import { withScreenPart } from './peel/screen-part.js';

/** A take as a proposal needs it. */
export interface ReadyTake extends Subject {
  readonly side: Awaited<ReturnType<typeof measureTakeSide>>['side'];
  readonly notes: readonly string[];
  /** How the screen's useful part or the outlines were found; null where the marks are as they were. */
  readonly screenFound: string | null;
}

/** What is under way while a take is made ready. */
export type ReadyingTake = 'measuring the take' | 'outlining the performer';

/** Where a take's parts are kept for the next time, and who is told how far it is. */
export interface ReadyingOptions {
  /** Models of screens; in memory unless told. */
  readonly screens?: KeptScreens;
  /** Folder of followed outlines, and of measures; null, as unless told, keeps none. */
  readonly outlines?: string | null;
  readonly measures?: string | null;
  readonly onProgress?: (done: number, total: number, doing: ReadyingTake) => void;
}

/**
 * The take of `file`, open in `reader`, made ready. Throws what measuring it throws; that no performer is told is no
 * error but said in `noScreen`.
 */
export async function readyTake(
  file: string,
  reader: VideoReader,
  marks: MarksFile,
  quality: 'fast' | 'fine',
  options: ReadyingOptions = {},
): Promise<ReadyTake> {
  const { screens = screensInMemory(), outlines: folder = null, measures: measured = null, onProgress } = options;
  const kept: OutlinesOfTake = { folder, file },
    measuring = (d: number, n: number): void => onProgress?.(d, n, 'measuring the take'),
    outlining = { onProgress: (d: number, n: number): void => onProgress?.(d, n, 'outlining the performer') },
    outlined = reader.info.hasAlpha || isLayered(marks) ? null : await outlinesOfMarks(reader, marks, kept, outlining);
  const ready = async (m: MarksFile, found: string | null): Promise<ReadyTake> => {
    const { side, notes } = await takeSide(file, reader, m, measured, measuring);
    return {
      ...(await subjectOf(reader, quality, m, { screens, file }, side.measures.camera?.move !== 'static')),
      side,
      notes,
      screenFound: found,
    };
  };
  if (outlined !== null) return ready(outlined.marks, outlined.found);
  const bounded = await keptTake(measured, measured === null ? null : keptTakeKey(file, 'screen', marks), () =>
      withScreenPart(reader, marks),
    ),
    first = await ready(bounded.marks, bounded.found);
  const open =
    first.noScreen !== null &&
    first.subject === null &&
    marks.cleanFrame === undefined &&
    reader.info.frameCount > 2 &&
    !bounded.marks.marks.some((m) => m.kind === 'screen');
  if (!open) return first;
  // Neither screen, empty set nor outline: what moves by itself is the last that may tell the performer.
  outlining.onProgress(0, 1);
  const moving = await outlinesByMotion(reader, marks, kept, outlining);
  if (moving.frames === null) return { ...first, noScreen: `${first.noScreen}; ${moving.why}` };
  return ready(moving.marks, moving.found);
}

/** The take's side as `measureTakeSide` makes it, its data kept in `folder`. */
async function takeSide(
  file: string,
  reader: VideoReader,
  marks: MarksFile,
  folder: string | null,
  onProgress?: (done: number, total: number) => void,
): Promise<Pick<ReadyTake, 'side' | 'notes'>> {
  const {
    measures,
    marks: found,
    held,
    heldStride,
    damaged,
    performerFound,
    notes,
  } = await keptTake(folder, folder === null ? null : keptTakeKey(file, 'side', marks), async () => {
    const { side, notes: said } = await measureTakeSide(file, reader, marks, onProgress);
    return {
      measures: side.measures,
      marks: side.marks,
      held: side.held,
      heldStride: side.heldStride,
      damaged: side.damaged,
      performerFound: side.performerFound,
      notes: said,
    };
  });
  onProgress?.(reader.info.frameCount, reader.info.frameCount);
  // The file may lie elsewhere now.
  return {
    side: {
      measures: { ...measures, file },
      marks: found,
      ...(held === undefined ? {} : { held }),
      ...(heldStride === undefined ? {} : { heldStride }),
      ...(damaged === undefined ? {} : { damaged }),
      ...(performerFound === undefined ? {} : { performerFound }),
      linear: async (n) => clonePicture(toLinear(await reader.frame(n))),
    },
    notes,
  };
}
