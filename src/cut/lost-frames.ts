/**
 * Frames of a programme's sources that could not be read as they should be: which item, which frames, and the way out.
 * A join is rendered again from its recipe; a film's or a take's file must come whole from where it was copied.
 */
import { basename } from 'node:path';
import { counted } from '../core/counted.js';
import { PlatewrightError } from '../core/errors.js';
import { VideoReader } from '../media/video-reader.js';
import type { ProgrammeItem } from './programme.js';

/** Frames of an item's file that can't be read, or are gone. */
export interface LostFrames {
  /** The item's name, a pick's or a film's, and what kind it is. */
  readonly name: string;
  readonly kind: ProgrammeItem['kind'];
  readonly file: string;
  /** Frames of that file, rising. */
  readonly frames: readonly number[];
  /** The same in a sentence, with the way out. */
  readonly words: string;
}

/** What is done about a source that is not whole. */
function wayOut({ kind, name }: Pick<ProgrammeItem, 'kind' | 'name'>): string {
  return kind === 'join'
    ? `render it again ("platewright join ${name} --keep", or “Render as it stands” on its sheet) and deliver again`
    : 'put a whole copy of that file in its place, or trim the shot to the frames before, and deliver again';
}

const WHAT: Readonly<Record<ProgrammeItem['kind'], string>> = {
  join: 'the join of',
  'stand-in': "the film's shot that stands in for",
  film: 'the film shot',
  title: 'the title',
};

/** The item's file opened. Throws `PW-CUT-UNREADABLE`. */
export async function openItem(item: ProgrammeItem): Promise<VideoReader> {
  try {
    return await VideoReader.open(item.file!);
  } catch (cause) {
    throw unreadable(item, cause instanceof Error ? cause.message : String(cause), cause);
  }
}

/** An item without any picture: there is nothing that could stand in for it. */
export function unreadable(item: ProgrammeItem, why: string, cause?: unknown): PlatewrightError {
  return new PlatewrightError(
    'PW-CUT-UNREADABLE',
    `${WHAT[item.kind]} "${item.name}" cannot be read (${basename(item.file!)}: ${why}); ${wayOut(item)}`,
    { detail: { item: item.name, kind: item.kind, file: item.file }, ...(cause === undefined ? {} : { cause }) },
  );
}

/** A join whose file is gone, so that the film's own shot stands in for it. */
export function lostWhole(name: string, file: string, frames: readonly number[]): LostFrames {
  const words =
    `the join of "${name}" was rendered, and its file ${basename(file)} is gone: the film's own shot stands in; ` +
    wayOut({ kind: 'join', name });
  return { name, kind: 'stand-in', file, frames, words };
}

/**
 * What of an item was lost; null where it was read whole.
 *
 * @param damaged frames of the file that were met damaged
 * @param ended the frame of the file from which nothing came any more, at most `out`
 */
export function lostOf(item: ProgrammeItem, damaged: ReadonlySet<number>, ended: number): LostFrames | null {
  const frames: number[] = [];
  for (let n = item.in; n < item.out; n++) if (n >= ended || damaged.has(n)) frames.push(n);
  if (frames.length === 0) return null;
  const many = frames.length === 1 ? `frame ${frames[0]}` : `${counted(frames.length, 'frame')} from ${frames[0]} on`;
  return {
    name: item.name,
    kind: item.kind,
    file: item.file!,
    frames,
    words:
      `${WHAT[item.kind]} "${item.name}": ${many} of ${basename(item.file!)} ` +
      `${frames.length === 1 ? 'is' : 'are'} damaged or missing, and the picture before stands in; ${wayOut(item)}`,
  };
}
