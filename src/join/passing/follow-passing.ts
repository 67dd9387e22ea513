/**
 * A thing that passes before the performer, outlined on a few frames, followed over all frames of a shot: outwards from
 * each marked frame, by the set's own motion and the thing's speed beside it, or by the depth at which the solved
 * camera's way makes it pass as it does.
 */
import { boundsOf } from '../../geometry/bounds.js';
import { homographyFromQuad } from '../../geometry/homography.js';
import { apply, IDENTITY3, invert, multiply, type Mat3 } from '../../geometry/mat3.js';
import type { SmallFrame } from '../outline/small-frame.js';
import { OutlineFollower, type Found } from './outline-follower.js';
import { beyondBorder, refineOutline } from './refine-outline.js';
import type { Outline } from './outline-lines.js';

export interface FollowedMove {
  readonly frame: number;
  /** The marked outline's pixels to this frame's. */
  readonly move: Mat3;
  /** Null where nothing of it lies in the picture. */
  readonly found: Found | null;
  /** The picture does not tell where it is, and the move is a guess. */
  readonly lost: boolean;
}

export interface PassingSource {
  /** Small pictures of frames from, from ± 1, … to (inclusive), either way. */
  pictures(from: number, to: number): AsyncGenerator<{ readonly frame: number; readonly picture: SmallFrame }>;
  /** The set's motion: small pixels of the shot's reference to a frame's. */
  set(frame: number): Mat3;
  /** By the camera's way, where that is known: small pixels of the key frame to another frame's for what is so deep. */
  readonly byDepth?: (key: number, frame: number) => Mat3;
}

/**
 * Share of the marked frame's evidence, and of the lines that must agree, under which a thing is not told. Own choice.
 */
const LEAST_SCORE = 0.4,
  LEAST_INNER = 0.55,
  LEAST_AGREE = 0.3;
/** Lines that agree so well tell it, whatever became of its colours (a pattern turns round a column). */
const SURE_AGREE = 0.8;
/**
 * Share of the picture's width within which a thing is sought on the first frame beside a marked one; and least px on
 * others.
 */
const FIRST_REACH = 0.05,
  REACH = 6;

/** True where the picture tells where it is. */
export function isTold(found: Found): boolean {
  return (
    (found.score > LEAST_SCORE && found.inner > LEAST_INNER && found.agree > LEAST_AGREE) ||
    (found.score > 0.5 * LEAST_SCORE && found.agree > SURE_AGREE)
  );
}

/** Marked outline, set on the edges of its frame and drawn on beyond the picture's border. */
export function preparedOutline(picture: SmallFrame, outline: Outline): [number, number][] {
  return refineOutline(picture, beyondBorder(outline, picture.width, picture.height));
}

/** Follows one marked outline from its frame to `to` (exclusive of the key, inclusive of `to`). */
export async function followFrom(
  source: PassingSource,
  follower: OutlineFollower,
  outline: Outline,
  key: number,
  to: number,
): Promise<FollowedMove[]> {
  const out: FollowedMove[] = [],
    way = Math.sign(to - key);
  if (way === 0) return out;
  const box = boxOf(outline);
  let before: Mat3 = IDENTITY3,
    speed: readonly (readonly [number, number])[] = box.map(() => [0, 0] as const),
    unseen = 0,
    beforeFrame = key;
  for await (const { frame, picture } of source.pictures(key + way, to)) {
    const set = multiply(source.set(frame), invert(source.set(beforeFrame))),
      carried = multiply(set, before),
      at = box.map(([x, y]) => apply(carried, x, y));
    const fast = Math.max(...speed.map((s) => Math.hypot(...s))),
      moving =
        homographyFromQuad(
          box,
          at.map((p, i) => [p[0] + speed[i]![0], p[1] + speed[i]![1]] as const),
        ) ?? carried;
    const deep = source.byDepth?.(key, frame),
      first = beforeFrame === key;
    const starts = [...(deep === undefined ? [] : [deep]), moving, ...(fast > 2 ? [carried] : [])];
    const reach =
      first && deep === undefined
        ? FIRST_REACH * picture.width
        : Math.min(0.06 * picture.width, Math.max(REACH, 0.6 * fast, 3 * unseen));
    const found = follower.follow(picture, starts, reach, { place: 3 * Math.max(2, reach), size: 2, shape: 0.7 });
    const told = found !== null && isTold(found),
      move = told ? found.move : (deep ?? moving);
    out.push({ frame, move, found, lost: !told && found !== null });
    const now = box.map(([x, y]) => apply(move, x, y));
    const own = now.map((p, i) => [p[0] - at[i]![0], p[1] - at[i]![1]] as const),
      ways = follower.waysAt(move);
    // Along edges that run one way nothing was told, so nothing moves on.
    speed = told
      ? ways.oneWay
        ? own.map(([x, y]) => {
            const d = x * ways.across[0] + y * ways.across[1];
            return [d * ways.across[0], d * ways.across[1]] as const;
          })
        : own
      : speed.map(([x, y]) => [0.8 * x, 0.8 * y] as const);
    unseen = told ? 0 : unseen + 1;
    before = move;
    beforeFrame = frame;
  }
  return out;
}

function boxOf(outline: Outline): [number, number][] {
  const [x0, y0, x1, y1] = boundsOf(outline);
  return [
    [x0, y0],
    [x1, y0],
    [x1, y1],
    [x0, y1],
  ];
}
