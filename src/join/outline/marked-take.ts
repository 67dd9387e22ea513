/**
 * A take's marks with the performer's outline on every frame: those that a person drew or took, those that are found on
 * frames where a person only pointed at the performer, and all others carried from them. Where nobody marked anything
 * and no screen is seen, what plainly moves against the set is taken for the performer, and said. What was followed is
 * kept: it hangs on the file and the marks alone.
 */
import { createHash } from 'node:crypto';
import { mkdirSync, readFileSync, renameSync, statSync, writeFileSync } from 'node:fs';
import { basename, join } from 'node:path';
import { counted } from '../../core/counted.js';
import { PlatewrightError } from '../../core/errors.js';
import type { VideoReader } from '../../media/video-reader.js';
import type { MarksFile } from '../../plate/marks/marks.js';
import { followOutlines, type FollowedFrame, type FollowOptions, type KeyOutline } from './follow-outline.js';
import { drawnOutlines, hintedFrames, hintsOn } from './outline-hints.js';
import { findOutline } from './outline-take.js';

/** Changes whenever outlines are carried in another way. */
const MAKE = 3;
/** Agreement of the two ways under which a frame should be looked at. */
const DOUBTFUL_AGREEMENT = 0.9;
/**
 * Frames from a settled one beyond which a line that came from one side alone should be looked at: a performer may have
 * turned.
 */
const FAR_AWAY = 12;

/** Where outlines that were followed are kept, and the file of the take. */
export interface OutlinesOfTake {
  readonly folder: string | null;
  readonly file: string;
}

/** Frames wanted; all of the take unless told. */
export interface FollowSpan extends FollowOptions {
  readonly from?: number;
  readonly to?: number;
}

export interface OutlinedTake {
  readonly marks: MarksFile;
  /** Frames of which a person or the program settled the outline. */
  readonly keys: readonly KeyOutline[];
  readonly frames: readonly FollowedFrame[];
  /** How the outline came about and where to look, as a sentence. */
  readonly found: string;
}

/**
 * The frames' outlines by what a person marked; null where nobody marked any.
 *
 * @throws `PW-OUTLINE-NONE` where what was pointed at can't be told from the set
 */
export async function outlinesOfMarks(
  take: VideoReader,
  marks: MarksFile,
  kept: OutlinesOfTake | null,
  options: FollowSpan = {},
): Promise<OutlinedTake | null> {
  const drawn = drawnOutlines(marks),
    pointed = hintedFrames(marks).filter((f) => f < take.info.frameCount && drawn.every((d) => d.frame !== f));
  if (drawn.length === 0 && pointed.length === 0) return null;
  options.onProgress?.(0, 1);
  const keys: KeyOutline[] = [...drawn];
  for (const f of pointed) {
    const hints = hintsOn(marks, f);
    // Touches on the set alone point at nobody.
    if (hints.about.length === 0 && hints.performer.length === 0) continue;
    const found = await findOutline(take, f, hints);
    if (found.polygon === null) throw new PlatewrightError('PW-OUTLINE-NONE', found.why, { kind: 'input' });
    keys.push({ frame: f, polygon: found.polygon });
  }
  if (keys.length === 0) return null;
  keys.sort((a, b) => a.frame - b.frame);
  return carried(take, marks, keys, keysSaid(drawn.length, keys.length), kept, options);
}

function keysSaid(drawn: number, all: number): string {
  if (drawn === 0) return `the performer was found on ${counted(all, 'frame')} where it was pointed at`;
  const found = all > drawn ? ` and found on ${all - drawn} where it was pointed at` : '';
  return `the performer was outlined on ${counted(drawn, 'frame')}${found}`;
}

/**
 * The performer by what moves against the set, where nobody pointed at it; null with a reason where nothing moves
 * plainly.
 */
export async function outlinesByMotion(
  take: VideoReader,
  marks: MarksFile,
  kept: OutlinesOfTake | null,
  options: FollowSpan = {},
): Promise<OutlinedTake | { readonly frames: null; readonly why: string }> {
  const { frameCount } = take.info;
  let best: { frame: number; polygon: [number, number][] } | null = null,
    why = 'nothing moves in it';
  // In the midst, where frames before and after tell what moves from what is uncovered.
  for (const at of [0.5, 0.25, 0.75]) {
    const frame = Math.floor(at * frameCount),
      found = await findOutline(take, frame, { about: [], performer: [], set: [] });
    if (found.polygon === null) {
      why = found.why;
      continue;
    }
    best = { frame, polygon: found.polygon };
    break;
  }
  if (best === null) return { frames: null, why };
  return carried(
    take,
    marks,
    [{ frame: best.frame, polygon: best.polygon }],
    `nobody outlined the performer: what moves against the set on frame ${best.frame} was taken for it`,
    kept,
    options,
  );
}

async function carried(
  take: VideoReader,
  marks: MarksFile,
  keys: readonly KeyOutline[],
  how: string,
  kept: OutlinesOfTake | null,
  options: FollowSpan,
): Promise<OutlinedTake> {
  const { frameCount } = take.info,
    name = kept === null || kept.folder === null ? null : keyOf(kept.file, keys, options);
  let frames = name === null ? null : readKept(kept!.folder!, name);
  if (frames === null) {
    frames =
      frameCount === 1
        ? keys.map((k) => ({
            frame: k.frame,
            polygon: k.polygon.map((p) => [p[0], p[1]] as [number, number]),
            agreement: null,
          }))
        : await followOutlines(
            take,
            keys,
            { from: options.from ?? 0, to: options.to ?? frameCount },
            { ...options, mend: true },
          );
    if (name !== null) writeKept(kept!.folder!, name, frames);
  }
  const soft = softOf(marks),
    softPx = soft === undefined ? {} : { soft };
  const lines = frames.filter((f) => f.polygon.length >= 3),
    doubt = lines
      .filter((f) => f.agreement !== null && f.agreement < DOUBTFUL_AGREEMENT)
      .sort((a, b) => a.agreement! - b.agreement!),
    lost = frames.length - lines.length;
  const far = lines
    .filter((f) => f.agreement === null)
    .map((f) => ({ frame: f.frame, away: Math.min(...keys.map((k) => Math.abs(k.frame - f.frame))) }))
    .reduce<{ frame: number; away: number } | null>((a, b) => (b.away > (a?.away ?? FAR_AWAY) ? b : a), null);
  const doubted = doubt[0];
  const found = [
    `${how}; the outline was carried to the other frames`,
    lost === 0 ? '' : `, and lost on ${counted(lost, 'frame')}`,
    doubted === undefined ? '' : `; look at frame ${doubted.frame}, where what came from either side agrees least`,
    far === null
      ? ''
      : `; on frame ${far.frame}, ${far.away} frames from any that was settled, it came from one side alone: ` +
        'look there, and correct it where it strayed',
  ].join('');
  return {
    marks: {
      ...marks,
      marks: [
        ...marks.marks.filter((m) => !(m.kind === 'body' && m.polygon !== undefined)),
        ...lines.map((f) => ({ kind: 'body' as const, frame: f.frame, polygon: f.polygon, ...softPx })),
      ],
    },
    keys,
    frames,
    found,
  };
}

/** The widest soft edge that a line of the take was given, px. */
export function softOf(marks: MarksFile): number | undefined {
  const all = marks.marks.flatMap((m) =>
    m.kind === 'body' && m.polygon !== undefined && m.soft !== undefined ? [m.soft] : [],
  );
  return all.length === 0 ? undefined : Math.max(...all);
}

function keyOf(file: string, keys: readonly KeyOutline[], span: FollowSpan): string | null {
  const stat = statSync(file, { throwIfNoEntry: false });
  if (stat === undefined || !stat.isFile()) return null;
  return createHash('sha256')
    .update(JSON.stringify([MAKE, basename(file), stat.size, stat.mtimeMs, keys, span.from ?? 0, span.to ?? null]))
    .digest('hex')
    .slice(0, 24);
}

function readKept(folder: string, name: string): FollowedFrame[] | null {
  try {
    return JSON.parse(readFileSync(join(folder, `${name}.json`), 'utf8')) as FollowedFrame[];
  } catch {
    return null;
  }
}

function writeKept(folder: string, name: string, frames: readonly FollowedFrame[]): void {
  const part = join(folder, `${name}.${process.pid}.part`);
  mkdirSync(folder, { recursive: true });
  writeFileSync(part, JSON.stringify(frames));
  renameSync(part, join(folder, `${name}.json`));
}
