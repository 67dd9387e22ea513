/**
 * Where a marked place of the performer goes in the picture while the camera moves: a performer that stands still is
 * left behind by a pan, and nothing of the shoot or the join could bring it back into the picture.
 */
import { apply, tryInvert } from '../../geometry/mat3.js';
import type { CameraMove } from '../types.js';
import { isCarried } from './seat.js';
import type { MarksFile } from './marks.js';

/** A performer is taken to reach so much of its height to either side of its mark (own choice). */
const HALF_WIDTH = 0.3;
/**
 * Share of the shot's frames from which on it is said (own choice): one that walks out at the very end is a way to end.
 */
const WORTH_SAYING = 0.1;

/** Frames on which no part of a performer at its mark lies in the picture. */
export interface OutOfSight {
  readonly frames: number;
  readonly of: number;
  readonly first: number;
  readonly last: number;
}

/**
 * How long a performer that keeps to its stand marks is out of sight; each frame goes by the mark nearest in time. Null
 * where it is for no more than a tenth of the shot, is carried, or where no mark or no camera move is known.
 */
export function outOfSight(
  marks: MarksFile,
  camera: CameraMove | undefined,
  widthPx: number,
  heightPx: number,
): OutOfSight | null {
  const stands = marks.marks.flatMap((m) => (m.kind === 'stand' ? [{ ...m, frame: m.frame ?? marks.frame }] : []));
  if (stands.length === 0 || camera === undefined || isCarried(marks)) return null;
  const away: number[] = [];
  for (const f of camera.frames) {
    const mark = stands.reduce((a, b) => (Math.abs(b.frame - f.frame) < Math.abs(a.frame - f.frame) ? b : a)),
      marked = camera.frames.find((g) => g.frame === mark.frame),
      back = tryInvert(f.homographyToFirst);
    if (marked === undefined || back === null) continue;
    const here = (p: readonly [number, number]): [number, number] =>
      apply(back, ...apply(marked.homographyToFirst, p[0], p[1]));
    const ground = here(mark.ground),
      top = here(mark.top),
      reach = HALF_WIDTH * Math.hypot(top[0] - ground[0], top[1] - ground[1]),
      xs = [ground[0], top[0]],
      ys = [ground[1], top[1]];
    if (
      Math.max(...xs) + reach < 0 ||
      Math.min(...xs) - reach > widthPx ||
      Math.max(...ys) < 0 ||
      Math.min(...ys) > heightPx
    )
      away.push(f.frame);
  }
  const of = camera.frames.length;
  return away.length <= WORTH_SAYING * of ? null : { frames: away.length, of, first: away[0]!, last: away.at(-1)! };
}

/** The same in words, with the way out. */
export function outOfSightInWords(o: OutOfSight): string {
  return (
    `the camera's move takes the marked place out of the picture on ${o.frames} of ${o.of} frames ` +
    `(${o.first} to ${o.last}): a performer that stays there is not seen on them; mark a place that the camera keeps, ` +
    'mark where it has walked to on a later frame, or pick fewer frames'
  );
}
