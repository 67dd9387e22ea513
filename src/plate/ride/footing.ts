/**
 * The ground about the performer's foot, followed by itself through a shot whose camera travels. The set's motion is
 * that of its main plane, mostly a wall, and near ground goes otherwise; the camera's own way (travel.ts) needs a
 * ground that shows points all over. Grass, gravel, setts or carpet about the foot are followed as a plane (ride.ts)
 * far better than either can tell: within .03 px on a made push over grass, where the set's motion lost the place by up
 * to 43 px and the way could not be had. A plain floor cannot be followed; a few frames about the mark tell so soon.
 */
import { trackRegion } from './ride.js';
import type { LumaSource } from './ride-source.js';
import type { Mark, MarksFile } from '../marks/marks.js';
import { standsOnGround } from '../marks/seat.js';
import { apply, type Point2 } from '../../geometry/mat3.js';
import type { RideTrack } from '../types.js';

/** The ground followed, in the performer's heights: above and below its foot, and to each side. */
const ABOVE = 0.08;
const BELOW = 0.35;
const BESIDE = 0.8;
/** A patch of ground smaller than this, px, is too little to be followed. */
const LEAST_WIDE = 24;
const LEAST_TALL = 10;
/** Frames on either side of the mark that tell whether the ground can be followed. */
const TRIED = 3;
/**
 * Chance that the corners lie within a pixel (RideFrame.confidence) from which a frame
 * counts, and the share of frames that must.
 */
const SURE = 0.6;
const MOST = 0.9;

/** How far a hand marks beside the place, px and as a share of the performer's height; the larger counts. */
const HAND_PX = 2.5;
const HAND_SHARE = 0.025;
/** Farther from each other than a share of the picture's width two marks of one place are not set by the shakiest hand. */
const SHAKY_SHARE = 0.02;
/** Marks nearer in time than this tell nothing of the way between them, frames. */
const APART = 4;
/** Where one mark alone is had: how far the two halves of the ground may differ at the foot, px. */
const HALVES_PX = 1;

type StandMark = Extract<Mark, { kind: 'stand' }>;
interface Stood {
  readonly mark: StandMark;
  readonly at: number;
}
interface Span {
  readonly in: number;
  readonly out: number;
}
/** Left, top, right, bottom, px. */
type Patch = readonly [number, number, number, number];

const tallness = (m: StandMark): number => Math.hypot(m.top[0] - m.ground[0], m.top[1] - m.ground[1]);
const bigEnough = ([l, t, r, b]: Patch): boolean => r - l >= LEAST_WIDE && b - t >= LEAST_TALL;
const corners = ([l, t, r, b]: Patch): Point2[] => [
  [l, t],
  [r, t],
  [r, b],
  [l, b],
];

/** A rectangle of the picture about the foot, without what passes before it there; null where too little is left. */
function patchOf(stand: Stood, marks: MarksFile, widthPx: number, heightPx: number): Patch | null {
  const [x, y] = stand.mark.ground;
  const tall = tallness(stand.mark);
  const whole: Patch = [
    Math.max(1, x - BESIDE * tall),
    Math.max(1, y - ABOVE * tall),
    Math.min(widthPx - 2, x + BESIDE * tall),
    Math.min(heightPx - 2, y + BELOW * tall),
  ];
  let patch = whole;
  for (const [left, right] of frontsAt(stand.at, marks)) {
    if (right < patch[0] || left > patch[2]) continue;
    const before: Patch = [patch[0], patch[1], left, patch[3]];
    const after: Patch = [right, patch[1], patch[2], patch[3]];
    patch = before[2] - before[0] > after[2] - after[0] ? before : after;
  }
  return bigEnough(patch) ? patch : null;
}

/** Left and right of what is marked as passing before the performer, between the marks before and after a frame, px. */
function frontsAt(frame: number, marks: MarksFile): [number, number][] {
  const fronts = marks.marks
    .filter((m): m is Extract<Mark, { kind: 'front' }> => m.kind === 'front')
    .map((m) => ({ at: m.frame ?? marks.frame, xs: (m.polygon ?? []).map((p) => p[0]) }))
    .filter((m) => m.xs.length > 0);
  const before = Math.max(...fronts.filter((m) => m.at <= frame).map((m) => m.at));
  const after = Math.min(...fronts.filter((m) => m.at >= frame).map((m) => m.at));
  return fronts
    .filter((m) => m.at === before || m.at === after)
    .map((m) => [Math.min(...m.xs) - PASSING_PX, Math.max(...m.xs) + PASSING_PX]);
}

/** What passes drags the ground beside it along as far as this, px. */
const PASSING_PX = 6;

const surely = (track: RideTrack): boolean =>
  track.frames.filter((f) => f.visible && f.confidence >= SURE).length >= MOST * track.frames.length;

const footAt = (track: RideTrack, frame: number, foot: Point2): Point2 | null => {
  const f = track.frames.find((t) => t.frame === frame);
  return f === undefined ? null : apply(f.homography, foot[0], foot[1]);
};

/**
 * Whether the track takes the foot to where it is marked on the other frames; null where no mark is far enough away to
 * tell, or a shaky hand may have set them (a place on ground that is followed surely is told better by the ground).
 */
function marksBearOut(track: RideTrack, first: Stood, stands: readonly Stood[], widthPx: number): boolean | null {
  const others = stands.filter((s) => Math.abs(s.at - first.at) >= APART);
  if (others.length === 0) return null;
  const beside = others.map((s) => {
    const told = footAt(track, s.at, first.mark.ground);
    return told === null ? Infinity : Math.hypot(told[0] - s.mark.ground[0], told[1] - s.mark.ground[1]);
  });
  // Both marks are made by hand.
  if (others.every((s, i) => beside[i]! <= Math.SQRT2 * Math.max(HAND_PX, HAND_SHARE * tallness(s.mark)))) return true;
  return beside.every((d) => d <= SHAKY_SHARE * widthPx) ? null : false;
}

/**
 * Follows the ground about the marked stand nearest to the middle of the span. Something that passes may take a
 * followed patch along and look surely followed, so the track must be borne out: by the foot's marks on other frames,
 * or, where it is marked on one or a shaky hand marked it, by the ground on either side of the foot, each followed by
 * itself.
 *
 * @param span frames, in inclusive, out exclusive
 * @returns homographies of the ground's plane from the mark's frame (`atFrame`) to every frame, px; undefined
 * without a stand mark, where its ground cannot be followed surely on nine frames of ten, or nothing bears it
 * out (somebody who walks stands on no one place)
 */
export async function followFooting(
  source: LumaSource,
  marks: MarksFile,
  span: Span,
  signal?: AbortSignal,
): Promise<RideTrack | undefined> {
  const middle = (span.in + span.out - 1) / 2;
  const stands = marks.marks
    .filter((m): m is StandMark => standsOnGround(m, marks))
    .map((mark): Stood => ({ mark, at: mark.frame ?? marks.frame }))
    .filter(({ at }) => at >= span.in && at < span.out)
    .sort((a, b) => Math.abs(a.at - middle) - Math.abs(b.at - middle));
  const first = stands[0];
  if (first === undefined || span.out - span.in < 2 * TRIED) return undefined;
  const patch = patchOf(first, marks, source.widthPx, source.heightPx);
  if (patch === null) return undefined;
  const follow = (part: Patch, over: Span): Promise<RideTrack> =>
    trackRegion(source, {
      at: first.at,
      polygon: corners(part),
      span: { in: Math.max(span.in, over.in), out: Math.min(span.out, over.out) },
      ...(signal === undefined ? {} : { signal }),
    });
  if (!surely(await follow(patch, { in: first.at - TRIED, out: first.at + TRIED + 1 }))) return undefined;
  const whole = await follow(patch, span);
  if (!surely(whole)) return undefined;
  const borneOut = marksBearOut(whole, first, stands, source.widthPx);
  if (borneOut !== null) return borneOut ? whole : undefined;
  const [l, t, r, b] = patch;
  const halves: readonly Patch[] = [
    [l, t, (l + r) / 2, b],
    [(l + r) / 2, t, r, b],
  ];
  if (!halves.every(bigEnough)) return undefined;
  for (const half of halves) {
    const own = await follow(half, span);
    const alike = whole.frames.filter((f) => {
      const one = footAt(whole, f.frame, first.mark.ground);
      const other = footAt(own, f.frame, first.mark.ground);
      return one !== null && other !== null && Math.hypot(one[0] - other[0], one[1] - other[1]) <= HALVES_PX;
    });
    if (alike.length < MOST * whole.frames.length) return undefined;
  }
  return whole;
}
