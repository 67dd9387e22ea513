/**
 * Outlines of one passing thing on every frame of a shot, from the few that were marked: followed from each marked
 * frame to the next one on either side, both ways joined by their distance in time and by how well each is told. What
 * the next mark shows is held against what was followed to it, so a follower that went astray is found out and the
 * marks' own path is taken instead.
 */
import { rescale } from '../../geometry/mat3.js';
import type { RegionFile } from '../../plate/marks/marks.js';
import { carryRegion } from '../ride/carrier.js';
import type { SmallFrame } from '../outline/small-frame.js';
import { soughtDepth } from './by-depth.js';
import { followFrom, preparedOutline, type FollowedMove, type PassingSource } from './follow-passing.js';
import { followShape } from './follow-shape.js';
import { movedOutline, OutlineFollower } from './outline-follower.js';
import type { Outline } from './outline-lines.js';
import { type FrontPictures, TRIED, apart, goesWithSet, rms, round, staysWithSet, withSet } from './front-with-set.js';

export interface FollowedFront {
  /** On every frame of the span, or on the marked frames alone where it goes as the set goes. */
  readonly region: RegionFile;
  readonly how: 'set' | 'edges' | 'depth' | 'marks' | 'shape';
  /** Frames on which the picture does not tell where it is. */
  readonly lost: readonly number[];
  /** Rms between the marks and what was followed to them, px; null of a single mark. */
  readonly heldOutPx: number | null;
}

/**
 * A hand's own error on two marks together, px of the small picture: what was followed to the next mark may lie so far
 * from it in any case (own choice).
 */
const HAND = 1.5;
/**
 * Marks that carry each other so closely are surer than edges, of which a shadow beside a dark side makes a wrong one
 * (own choice).
 */
const SURE_HAND = 0.7;
/** Farther off than this nothing was followed (own choice). */
const ASTRAY = 6;

/** Follows one thing. @param region marked outlines, full pixels */
export async function followFront(source: FrontPictures, region: RegionFile): Promise<FollowedFront> {
  const one = await followWhole(source, region),
    count = source.span.out - source.span.in,
    keys = region.frames;
  // What many corners outline may bend; a person who outlined it on many frames has said how.
  const bends = Math.max(...keys.map((f) => f.polygon.length)) >= LEAST_BENDING && keys.length <= MOST_MARKS,
    k = source.block;
  const astray = one.how === 'marks' ? rms(leftOut(source, keys, k)) > BENT : one.lost.length > LOST_SHARE * count;
  if (!bends || !astray) return one;
  const shape = await followShape(source, region);
  return (shape.lost.length > LOST_SHARE * count && one.how === 'marks') ||
    (shape.lost.length > one.lost.length && one.how !== 'marks')
    ? one
    : { region: { frames: [...shape.frames] }, how: 'shape', lost: shape.lost, heldOutPx: one.heldOutPx };
}

/** A thing that keeps its shape but for how the camera sees it. */
async function followWhole(source: FrontPictures, region: RegionFile): Promise<FollowedFront> {
  const keys = [...region.frames].sort((a, b) => a.frame - b.frame),
    k = source.block,
    { in: first, out } = source.span,
    shown: { frame: number; outline: [number, number][]; follower: OutlineFollower }[] = [];
  for (const key of keys) {
    const picture = await source.picture(key.frame),
      outline = preparedOutline(
        picture,
        key.polygon.map(([x, y]) => [x / k, y / k] as const),
      );
    shown.push({ frame: key.frame, outline, follower: new OutlineFollower(picture, outline) });
  }
  if (shown.length === 1 && (await staysWithSet(source, shown[0]!)))
    return { region: withSet(source, shown[0]!), how: 'set', lost: [], heldOutPx: null };
  const deep = source.depth === undefined ? null : await depthOf(source, shown[0]!),
    own: PassingSource =
      deep === null
        ? source
        : {
            pictures: source.pictures.bind(source),
            set: source.set.bind(source),
            byDepth: (key, frame) =>
              rescale(
                source.depth!.moves(key, deep, place(shown.find((s) => s.frame === key)!.outline, k))(frame),
                1 / k,
              ),
          };
  const sides: { from: (typeof shown)[number]; list: Map<number, FollowedMove> }[][] = [];
  for (let i = 0; i <= shown.length; i++) {
    const a = shown[i - 1],
      b = shown[i],
      part: (typeof sides)[number] = [];
    if (a !== undefined)
      part.push({ from: a, list: byFrame(await followFrom(own, a.follower, a.outline, a.frame, b?.frame ?? out - 1)) });
    if (b !== undefined)
      part.push({ from: b, list: byFrame(await followFrom(own, b.follower, b.outline, b.frame, a?.frame ?? first)) });
    sides.push(part);
  }
  const off: number[] = [];
  for (let i = 1; i < shown.length; i++)
    for (const [side, to] of [
      [sides[i]![0]!, shown[i]!],
      [sides[i]![1]!, shown[i - 1]!],
    ] as const) {
      const at = side.list.get(to.frame);
      if (at !== undefined)
        off.push(apart(movedOutline(side.from.outline, at.move), to.outline, source.widthPx / k, source.heightPx / k));
    }
  // Marks that tell each other's places better than what was followed does are left as the hand drew them.
  const left = keys.length < 2 ? [] : leftOut(source, keys, k);
  if (off.length > 0 && (rms(left) < SURE_HAND || rms(off) > Math.min(ASTRAY, Math.max(HAND, rms(left)))))
    return { region, how: 'marks', lost: [], heldOutPx: k * rms(off) };
  const lost: number[] = [],
    frames: { frame: number; polygon: [number, number][] }[] = [];
  for (let n = first; n < out; n++) {
    const mark = shown.find((s) => s.frame === n),
      i = shown.findIndex((s) => s.frame > n),
      part = sides[i < 0 ? shown.length : i]!;
    const told = part
      .map((p) => ({ p, at: p.list.get(n) }))
      .filter((q): q is { p: (typeof part)[number]; at: FollowedMove } => q.at !== undefined);
    const polygon = mark !== undefined ? mark.outline : joined(told, n);
    if (mark === undefined && told.every((q) => q.at.lost)) lost.push(n);
    frames.push({ frame: n, polygon: polygon.map(([x, y]) => [round(x * k), round(y * k)]) });
  }
  const heldOutPx = off.length === 0 ? null : k * rms(off);
  if (shown.length === 1 && goesWithSet(source, shown[0]!, frames, lost))
    return { region: withSet(source, shown[0]!), how: 'set', lost, heldOutPx };
  return { region: { frames }, how: deep !== null ? 'depth' : 'edges', lost, heldOutPx };
}

const byFrame = (list: readonly FollowedMove[]): Map<number, FollowedMove> => new Map(list.map((f) => [f.frame, f]));
/** The outline's middle (the mean of its corners), `k` times as large: its place in a picture reduced by that. */
export const place = (outline: Outline, k: number): [number, number] => {
  const n = outline.length;
  return [(k * outline.reduce((s, p) => s + p[0], 0)) / n, (k * outline.reduce((s, p) => s + p[1], 0)) / n];
};

/** Outlines from both sides as one; where neither is told, both guesses. */
function joined(
  told: readonly {
    readonly p: { readonly from: { readonly frame: number; readonly outline: Outline } };
    readonly at: FollowedMove;
  }[],
  n: number,
): [number, number][] {
  const seen = told.filter((q) => !q.at.lost),
    list = seen.length > 0 ? seen : told;
  const weights = list.map(
      (q) => 1 / ((Math.abs(n - q.p.from.frame) + 0.5) * (0.1 + Math.min(10, q.at.found?.sdPx ?? 10)) ** 2),
    ),
    polygons = list.map((q) => movedOutline(q.p.from.outline, q.at.move));
  const best = weights.indexOf(Math.max(...weights));
  if (polygons.some((p) => p.length !== polygons[0]!.length)) return polygons[best]!;
  const all = weights.reduce((s, w) => s + w, 0);
  return polygons[0]!.map((_, c) => [
    polygons.reduce((s, p, j) => s + weights[j]! * p[c]![0], 0) / all,
    polygons.reduce((s, p, j) => s + weights[j]! * p[c]![1], 0) / all,
  ]);
}

/**
 * How far each inner mark lies from where its neighbours carry it, px of the small picture; of two marks the one from
 * the other.
 */
function leftOut(source: FrontPictures, keys: RegionFile['frames'], k: number): number[] {
  const small = (p: Outline): [number, number][] => p.map(([x, y]) => [x / k, y / k]),
    w = source.widthPx / k,
    h = source.heightPx / k;
  return keys.flatMap((key, i) =>
    keys.length > 2 && (i === 0 || i === keys.length - 1)
      ? []
      : [
          apart(
            small(carryRegion({ frames: keys.filter((q) => q !== key) }, source.carrier)(key.frame)),
            small(key.polygon),
            w,
            h,
          ),
        ],
  );
}

/**
 * Corners from which an outline may be of something that bends; frames marked up to which it is followed as that; px
 * between marks and where others carry them, and share of frames lost, from which it is tried. Own choice.
 */
const LEAST_BENDING = 8,
  MOST_MARKS = 4,
  BENT = 3,
  LOST_SHARE = 0.2;

async function depthOf(
  source: FrontPictures,
  key: { readonly frame: number; readonly outline: Outline; readonly follower: OutlineFollower },
): Promise<number | null> {
  const k = source.block,
    at = place(key.outline, k),
    inside: [number, number] = [
      Math.min(source.widthPx, Math.max(0, at[0])),
      Math.min(source.heightPx, Math.max(0, at[1])),
    ],
    { in: first, out } = source.span,
    every = Math.max(1, Math.floor((out - first) / TRIED)),
    pictures: { frame: number; picture: SmallFrame }[] = [];
  for (let n = first; n < out; n += every)
    if (n !== key.frame) pictures.push({ frame: n, picture: await source.picture(n) });
  if (pictures.length === 0) return null;
  return soughtDepth(source.depth!.height, (depth) => {
    const moves = source.depth!.moves(key.frame, depth, inside);
    let s = 0,
      n = 0;
    for (const p of pictures) {
      const got = key.follower.judge(p.picture, rescale(moves(p.frame), 1 / k), (i) => i % 3 === 0);
      if (got.count > 5) {
        s += got.score;
        n++;
      }
    }
    return n < 0.3 * pictures.length ? 0 : s / n;
  });
}
