/** Picture sequences named by a pattern such as `shot_%05d.png`, and single stills as sequences of one. */
import { readdirSync } from 'node:fs';
import { basename, dirname, join } from 'node:path';
import { PlatewrightError } from '../core/errors.js';
import { rate, type Rate } from '../core/rational.js';
import { describeVideo } from './describe.js';
import { closeInput, openInput } from './input.js';
import type { VideoInfo } from './types.js';

const PATTERN = /%(?:0(\d+))?d/;

export function isSequencePattern(path: string): boolean {
  return PATTERN.test(basename(path));
}

/** Name of picture `number` of a pattern. */
export function sequenceName(pattern: string, number: number): string {
  return join(dirname(pattern), basename(pattern).replace(PATTERN, (_, digits: string | undefined) => String(number).padStart(digits ? Number(digits) : 1, '0')));
}

export interface Sequence {
  readonly pattern: string;
  /** File numbers in order; frame n of the sequence is number first + n. */
  readonly first: number;
  readonly present: ReadonlySet<number>;
  readonly info: VideoInfo;
}

/** Numbers of the files that fit a pattern, ascending. An unreadable folder counts as empty. */
export function sequenceNumbers(pattern: string): number[] {
  const name = basename(pattern);
  const m = PATTERN.exec(name)!;
  const head = name.slice(0, m.index), tail = name.slice(m.index + m[0].length);
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
    if (/^\d+$/.test(mid) && mid.length >= digits && (mid.length === digits || !mid.startsWith('0'))) out.push(Number(mid));
  }
  return out.sort((a, b) => a - b);
}

/** Lists a sequence and describes it from its first picture. A sequence has no rate of its own: 24 unless told. */
export async function openSequence(pattern: string, asRate: Rate = rate(24)): Promise<Sequence> {
  const numbers = sequenceNumbers(pattern);
  if (numbers.length === 0) throw new PlatewrightError('PW-MEDIA-MISSING', `no file fits the sequence ${pattern}; check folder and number of digits`, { detail: { file: pattern } });
  const first = numbers[0]!, last = numbers[numbers.length - 1]!;
  const input = await openInput(sequenceName(pattern, first));
  let info: VideoInfo | null;
  try {
    info = describeVideo(input, null, null);
  } finally {
    await closeInput(input);
  }
  if (info === null) throw new PlatewrightError('PW-MEDIA-NOPICTURE', `${sequenceName(pattern, first)} holds no picture`, { detail: { file: pattern } });
  const notes = [...info.notes, `a picture sequence has no rate of its own; taken as ${asRate.num}/${asRate.den} frames a second`];
  const count = last - first + 1;
  if (numbers.length < count) notes.push(`${count - numbers.length} of the ${count} pictures from ${first} to ${last} are missing`);
  return { pattern, first, present: new Set(numbers), info: { ...info, rate: asRate, frameCount: count, frameCountExact: true, notes } };
}
