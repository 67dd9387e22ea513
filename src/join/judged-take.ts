/**
 * A take measured for its verdict with the outlines that its join will have: a take without a screen shows its
 * performer to nobody until it is outlined, and a line drawn on one frame tells nothing of the others. What is followed
 * is kept, so that the join need not follow it again.
 */
import { PlatewrightError } from '../core/errors.js';
import { VideoReader } from '../media/video-reader.js';
import type { MarksFile } from '../plate/marks/marks.js';
import { measureTake } from '../take/measure-take.js';
import type { TakeMeasures } from '../take/measures.js';
import type { TakeOptions } from '../take/take-options.js';
import { outlinesByMotion, outlinesOfMarks, type OutlinedTake } from './outline/marked-take.js';
import { isLayered } from './ride/propose-layers.js';
import type { ReadyingTake } from './take-side.js';

export interface JudgedTakeOptions extends Omit<TakeOptions, 'onProgress'> {
  /** Where followed outlines are kept; null keeps none. */
  readonly outlines: string | null;
  readonly signal?: AbortSignal;
  readonly onProgress?: (done: number, total: number, doing: ReadyingTake) => void;
}

/** Throws what the measures throw; an outline that can't be had is a note. */
export async function measureJudgedTake(
  file: string,
  marks: MarksFile,
  options: JudgedTakeOptions,
): Promise<TakeMeasures> {
  const { outlines, signal, onProgress, ...how } = options,
    kept = { folder: outlines, file },
    following = {
      ...(signal === undefined ? {} : { signal }),
      onProgress: (d: number, n: number): void => onProgress?.(d, n, 'outlining the performer'),
    },
    measure = (m: MarksFile): Promise<TakeMeasures> =>
      measureTake(file, m, { ...how, onProgress: (d, n) => onProgress?.(d, n, 'measuring the take') }),
    outlined = (m: OutlinedTake): Promise<TakeMeasures> => measure(m.marks).then((t) => noted(t, m.found));
  const reader = await VideoReader.open(file);
  try {
    if (reader.info.hasAlpha || isLayered(marks)) return await measure(marks);
    const told = await orReason(outlinesOfMarks(reader, marks, kept, following));
    if (told !== null) return typeof told === 'string' ? noted(await measure(marks), told) : await outlined(told);
    const first = await measure(marks);
    if (first.behind.kind !== 'none' || marks.cleanFrame !== undefined || reader.info.frameCount < 3) return first;
    const moving = await outlinesByMotion(reader, marks, kept, following);
    return moving.frames === null ? noted(first, moving.why) : await outlined(moving);
  } finally {
    await reader.close();
  }
}

const noted = (take: TakeMeasures, note: string): TakeMeasures => ({ ...take, notes: [...take.notes, note] });

/** What was asked, or the reason in words where the input does not allow it. */
async function orReason<T>(asked: Promise<T>): Promise<T | string> {
  try {
    return await asked;
  } catch (error) {
    if (error instanceof PlatewrightError && error.code === 'PW-OUTLINE-NONE') return error.message;
    throw error;
  }
}
