/**
 * Small pieces of the set followed one by one through a shot, for a travelling camera: each is always compared with its
 * key, is sought where the set's own motion and what it has strayed from that so far put it, and is given up after it
 * was missed a few times. What strays steadily stands nearer or farther than the set's main plane.
 */
import { apply, invert, multiply, type Mat3 } from '../../geometry/mat3.js';
import { matchPatches, patchesOf } from '../camera/camera-patches.js';
import { allocatePyramid, fillPyramid } from '../ride/ride-pyramid.js';
import { lumaAt, type LumaSource } from '../ride/ride-source.js';
import { AT_HOME } from './travel-pose.js';
import type { TravelKey, TravelSight } from './travel-ground.js';

const COLUMNS = 28;
const ROWS = 20;
/** Frames that a piece may be missed before it is given up. */
const MISSES = 3;
/** A key is left when fewer than this share of its pieces are found. */
const REKEY = 0.45;
const MOST_KEYS = 24;
/** Frames that hang on one key at least: fewer give no depths. */
const LEAST_RUN = 9;

interface Stray {
  x: number;
  y: number;
  vx: number;
  vy: number;
  missed: number;
}
interface Following {
  readonly key: TravelKey;
  readonly index: number;
  readonly strays: Stray[];
}

/** What was followed: each frame's sight from its own key, and the sights that the key before still had of it. */
export interface Tracked {
  readonly keys: TravelKey[];
  readonly sights: TravelSight[];
  readonly bridges: TravelSight[];
}

/** @param setAt first frame's pixels to each frame's */
export async function trackPieces(
  source: LumaSource,
  span: { readonly in: number; readonly out: number },
  setAt: (frame: number) => Mat3,
  signal?: AbortSignal,
): Promise<Tracked> {
  const { widthPx: w, heightPx: h } = source;
  const pyramid = allocatePyramid(w, h, 1);
  const keys: TravelKey[] = [];
  const sights: TravelSight[] = [];
  const bridges: TravelSight[] = [];
  let now: Following;
  let old: Following | null = null;
  const newKey = (frame: number): Following => {
    const patches = patchesOf(pyramid[0]!, COLUMNS, ROWS);
    const key: TravelKey = { frame, pose: AT_HOME, patches, ground: new Set() };
    keys.push(key);
    return {
      key,
      index: keys.length - 1,
      strays: patches.patches.map(() => ({ x: 0, y: 0, vx: 0, vy: 0, missed: 0 })),
    };
  };
  const follow = (f: Following, frame: number): TravelSight => {
    const set = multiply(setAt(frame), invert(setAt(f.key.frame)));
    const matches = matchPatches(f.key.patches, pyramid[0]!, set, (p) => {
      const s = f.strays[p]!;
      return s.missed > MISSES ? null : multiply([1, 0, s.x + s.vx, 0, 1, s.y + s.vy, 0, 0, 1], set);
    });
    for (const s of f.strays) s.missed++;
    for (const m of matches) {
      const s = f.strays[m.patch]!;
      const p = f.key.patches.patches[m.patch]!;
      const [x, y] = apply(set, p[0], p[1]);
      const k = s.missed;
      s.vx = (m.x - x - s.x) / k;
      s.vy = (m.y - y - s.y) / k;
      s.x = m.x - x;
      s.y = m.y - y;
      s.missed = 0;
    }
    return { frame, key: f.index, matches, pose: AT_HOME, fit: null };
  };
  fillPyramid(await lumaAt(source, span.in), pyramid);
  now = newKey(span.in);
  for await (const frame of source.frames(span.in + 1, span.out)) {
    signal?.throwIfAborted();
    fillPyramid(frame.luma, pyramid);
    const s = follow(now, frame.index);
    sights.push(s);
    if (old !== null) bridges.push(follow(old, frame.index));
    if (
      s.matches.length < REKEY * now.key.patches.patches.length &&
      keys.length < MOST_KEYS &&
      frame.index - now.key.frame >= LEAST_RUN &&
      span.out - frame.index > LEAST_RUN
    ) {
      old = now;
      now = newKey(frame.index);
    }
  }
  return { keys, sights, bridges };
}

/**
 * All pieces sought once more in every frame, each under the homography of its own plane. `of`
 * answers null for a piece that is to be left out.
 */
export async function trackAgain(
  source: LumaSource,
  span: { readonly in: number; readonly out: number },
  keys: readonly TravelKey[],
  sights: readonly TravelSight[],
  of: (key: TravelKey, sight: TravelSight, piece: number) => Mat3 | null,
  signal?: AbortSignal,
): Promise<TravelSight[]> {
  const pyramid = allocatePyramid(source.widthPx, source.heightPx, 1);
  const byFrame = new Map(sights.map((s) => [s.frame, s]));
  const out: TravelSight[] = [];
  for await (const frame of source.frames(span.in + 1, span.out)) {
    signal?.throwIfAborted();
    const s = byFrame.get(frame.index);
    if (s === undefined) continue;
    fillPyramid(frame.luma, pyramid);
    const key = keys[s.key]!;
    out.push({
      ...s,
      matches: matchPatches(key.patches, pyramid[0]!, [1, 0, 0, 0, 1, 0, 0, 0, 1], (p) => of(key, s, p)),
    });
  }
  return out;
}
