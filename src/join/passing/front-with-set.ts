/**
 * Whether a passing thing goes along with the set, so that the set's own motion carries its outline (follow-front.ts):
 * found so after it was followed, or on a few frames spread over the shot before the others are gone through. Lengths
 * in px of the small picture.
 */
import { invert, multiply, type Mat3 } from '../../geometry/mat3.js';
import type { RegionFile } from '../../plate/marks/marks.js';
import { carryRegion, type Carrier } from '../ride/carrier.js';
import type { SmallFrame } from '../outline/small-frame.js';
import { isTold, type PassingSource } from './follow-passing.js';
import { movedOutline, OutlineFollower } from './outline-follower.js';
import { linesOf, type Outline } from './outline-lines.js';

/** A shot as a follower of passing things sees it: small pictures, the set's motion, how deep things may be. */
export interface FrontPictures extends PassingSource {
  readonly block: number;
  readonly widthPx: number;
  readonly heightPx: number;
  /** The set's motion in full pixels. */
  readonly carrier: Carrier;
  readonly span: { readonly in: number; readonly out: number };
  picture(frame: number): Promise<SmallFrame>;
  /** Where the camera's way is known: its height over the ground, and moves of what is so deep. */
  readonly depth?: {
    readonly height: number;
    moves(key: number, depth: number, place: readonly [number, number]): (frame: number) => Mat3;
  };
}

/**
 * A thing that goes with the set to within this (px of the small picture, rms and at most) is carried with it: fits of
 * single frames jitter.
 */
const WITH_SET = 0.4,
  WITH_SET_MOST = 1.2;

/** Carried with the set: on every frame, or once where that stands still. */
export function withSet(source: FrontPictures, key: { readonly frame: number; readonly outline: Outline }): RegionFile {
  const k = source.block,
    { in: first, out } = source.span,
    polygon = key.outline.map(([x, y]): [number, number] => [round(x * k), round(y * k)]),
    once: RegionFile = { frames: [{ frame: key.frame, polygon }] },
    path = carryRegion(once, source.carrier);
  const moved = (n: number): [number, number][] => path(n).map(([x, y]) => [round(x), round(y)]),
    frames = Array.from({ length: out - first }, (_, i) => ({ frame: first + i, polygon: moved(first + i) }));
  return frames.every((f) => f.polygon.every((p, i) => p[0] === polygon[i]![0] && p[1] === polygon[i]![1]))
    ? once
    : { frames };
}

/** To a hundredth of a pixel, as outlines are kept. */
export const round = (v: number): number => Math.round(100 * v) / 100;
/** Root mean square; 0 of none. */
export const rms = (list: readonly number[]): number =>
  Math.sqrt(list.reduce((s, d) => s + d * d, 0) / Math.max(1, list.length));

/**
 * Rms of the way across itself from one outline's lines to another outline, px; ends that lie outside the picture tell
 * nothing.
 */
export function apart(a: Outline, b: Outline, w: number, h: number): number {
  const lines = linesOf(a, w, h);
  let s = 0;
  for (const l of lines) {
    let best = 40;
    for (let i = 0; i < b.length; i++) {
      const p = b[i]!,
        q = b[(i + 1) % b.length]!,
        ex = q[0] - p[0],
        ey = q[1] - p[1],
        t = Math.min(1, Math.max(0, ((l.x - p[0]) * ex + (l.y - p[1]) * ey) / Math.max(1e-9, ex * ex + ey * ey)));
      best = Math.min(best, Math.hypot(p[0] + t * ex - l.x, p[1] + t * ey - l.y));
    }
    s += best * best;
  }
  return lines.length === 0 ? 0 : Math.sqrt(s / lines.length);
}

/** True where the frames on which it was followed show it where the set's motion puts it, to within WITH_SET. */
export function goesWithSet(
  source: FrontPictures,
  key: { readonly frame: number; readonly outline: Outline },
  frames: readonly { readonly frame: number; readonly polygon: Outline }[],
  lost: readonly number[],
): boolean {
  const k = source.block,
    carried = carryRegion(
      { frames: [{ frame: key.frame, polygon: key.outline.map(([x, y]): [number, number] => [x * k, y * k]) }] },
      source.carrier,
    ),
    missing = new Set(lost),
    off: number[] = [];
  for (const f of frames)
    if (!missing.has(f.frame) && f.frame !== key.frame)
      off.push(
        apart(
          carried(f.frame).map(([x, y]) => [x / k, y / k] as const),
          f.polygon.map(([x, y]) => [x / k, y / k] as const),
          source.widthPx / k,
          source.heightPx / k,
        ),
      );
  return (
    off.length > 0 &&
    Math.sqrt(off.reduce((s, d) => s + d * d, 0) / off.length) < WITH_SET &&
    Math.max(...off) < WITH_SET_MOST
  );
}

/**
 * True where a few frames spread over the shot show it where the set's motion puts it: the others need not be gone
 * through.
 */
export async function staysWithSet(
  source: FrontPictures,
  key: { readonly frame: number; readonly outline: Outline; readonly follower: OutlineFollower },
): Promise<boolean> {
  const k = source.block,
    { in: first, out } = source.span,
    every = Math.max(1, Math.floor((out - first) / TRIED)),
    w = source.widthPx / k,
    h = source.heightPx / k,
    off: number[] = [];
  for (let n = first; n < out; n += every) {
    if (n === key.frame) continue;
    const set = multiply(source.set(n), invert(source.set(key.frame))),
      found = key.follower.follow(await source.picture(n), [set], 8, { place: 20, size: 2, shape: 0.7 });
    if (found === null) continue;
    const far = apart(movedOutline(key.outline, set), movedOutline(key.outline, found.move), w, h);
    if (!isTold(found) || far > WITH_SET_MOST) return false;
    off.push(far);
  }
  return off.length > 0 && rms(off) < WITH_SET;
}

/** Frames on which a depth is tried, and whether it goes with the set. */
export const TRIED = 9;
