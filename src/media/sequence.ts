/**
 * Picture sequences: named by a pattern such as `shot_%05d.png`, or a folder of pictures in the order of their names.
 */
import { existsSync, readdirSync, statSync } from 'node:fs';
import { basename, dirname, join } from 'node:path';
import { PlatewrightError } from '../core/errors.js';
import { rate, type Rate } from '../core/rational.js';
import { describeVideo } from './describe.js';
import { closeInput, openInput } from './input.js';
import type { VideoInfo } from './types.js';

const PATTERN = /%(?:0(\d+))?d/;

/** Whether a path names a picture sequence by a pattern such as `_%05d.png`. */
export function isSequencePattern(path: string): boolean {
  return PATTERN.test(basename(path));
}

/** Name of picture `number` of a pattern. */
export function sequenceName(pattern: string, number: number): string {
  return join(
    dirname(pattern),
    basename(pattern).replace(PATTERN, (_, digits: string | undefined) =>
      String(number).padStart(digits ? Number(digits) : 1, '0'),
    ),
  );
}

const PICTURES = /\.(png|tiff?|exr|jpe?g)$/i;

/** Is this a folder of pictures and nothing else (hidden files aside)? They are then the frames. */
export function isPictureFolder(path: string): boolean {
  try {
    if (!statSync(path).isDirectory()) return false;
    const shown = readdirSync(path).filter((f) => !f.startsWith('.'));
    return shown.length > 0 && shown.every((f) => PICTURES.test(f));
  } catch {
    return false;
  }
}

/** Pictures of a folder as people count them: 2 before 10. Hidden files are left out. */
export function picturesIn(folder: string): string[] {
  const order = new Intl.Collator('en', { numeric: true, sensitivity: 'base' });
  return readdirSync(folder)
    .filter((f) => PICTURES.test(f) && !f.startsWith('.'))
    .sort((a, b) => order.compare(a, b) || (a < b ? -1 : 1))
    .map((f) => join(folder, f));
}

/** The file of frame `n`. */
export function pictureOf(s: Sequence, n: number): string {
  return s.files?.[n] ?? sequenceName(s.pattern, s.first + n);
}

/** Whether media lies at a path: a file, a folder, or at least one picture of a sequence. */
export function isMediaThere(path: string): boolean {
  return isSequencePattern(path) ? sequenceNumbers(path).length > 0 : existsSync(path);
}

export interface Sequence {
  readonly pattern: string;
  /** File numbers in order; frame n of the sequence is number first + n. */
  readonly first: number;
  /** Numbers of the files that are there. */
  readonly present: ReadonlySet<number>;
  readonly info: VideoInfo;
  /** The files in order, for a folder. */
  readonly files?: readonly string[];
}

/** Numbers of the files that fit a pattern, ascending. An unreadable folder counts as empty. */
export function sequenceNumbers(pattern: string): number[] {
  const name = basename(pattern);
  const m = PATTERN.exec(name)!;
  const head = name.slice(0, m.index);
  const tail = name.slice(m.index + m[0].length);
  const digits = m[1] ? Number(m[1]) : 1;
  let files: string[];
  try {
    files = readdirSync(dirname(pattern));
  } catch {
    return [];
  }
  const out: number[] = [];
  for (const f of files) {
    if (f.length < head.length + tail.length || !f.startsWith(head) || !f.endsWith(tail)) continue;
    const mid = f.slice(head.length, f.length - tail.length);
    if (/^\d+$/.test(mid) && mid.length >= digits && (mid.length === digits || !mid.startsWith('0')))
      out.push(Number(mid));
  }
  return out.sort((a, b) => a - b);
}

/**
 * Lists a sequence and describes it from its first picture. A sequence has no rate of its own: 24 unless told. Throws
 * `PW-MEDIA-MISSING` where no file fits, and `PW-MEDIA-NOPICTURE`.
 */
export async function openSequence(pattern: string, asRate: Rate = rate(24)): Promise<Sequence> {
  const files = isPictureFolder(pattern) ? picturesIn(pattern) : null;
  const numbers = files === null ? sequenceNumbers(pattern) : files.map((_, i) => i);
  if (numbers.length === 0)
    throw new PlatewrightError(
      'PW-MEDIA-MISSING',
      `no file fits the sequence ${pattern}; check folder and number of digits`,
      { detail: { file: pattern } },
    );
  const first = numbers[0]!;
  const last = numbers[numbers.length - 1]!;
  const opening = files?.[0] ?? sequenceName(pattern, first);
  const input = await openInput(opening);
  let info: VideoInfo | null;
  try {
    info = describeVideo(input, null, null);
  } finally {
    await closeInput(input);
  }
  if (info === null)
    throw new PlatewrightError('PW-MEDIA-NOPICTURE', `${opening} holds no picture`, { detail: { file: pattern } });
  const notes = [
    ...info.notes,
    `a picture sequence has no rate of its own; taken as ${asRate.num}/${asRate.den} frames a second`,
  ];
  const count = last - first + 1;
  if (numbers.length < count)
    notes.push(`${count - numbers.length} of the ${count} pictures from ${first} to ${last} are missing`);
  return {
    pattern,
    first,
    present: new Set(numbers),
    info: { ...info, rate: asRate, frameCount: count, frameCountExact: true, notes },
    ...(files === null ? {} : { files }),
  };
}
