/**
 * Points off the ground (walls, posts, what is far away) join in solving a travelling camera: each gets the depth that
 * its sights agree on, and the poses are had again from all points, by turns (resection and intersection: Triggs et
 * al., *Bundle Adjustment: A Modern Synthesis*, 1999, section 6.3). The ground's points keep their places: they hold
 * the scale. What moves by itself agrees with no depth and stays out.
 */
import { movedPlane, chain, fitPose, inverseDepth, inversePose, type Pose, type Sight } from './travel-pose.js';
import { groundPoints, type Ground, type Lens, type TravelKey, type TravelSight } from './travel-ground.js';

/** Sights that a point must have, and how well they must agree. */
const LEAST_SIGHTS = 6;
const AGREE_PX = 0.5;
/** Inverse depths to begin from, in one over the camera's height. */
const STARTS = [0.01, 0.05, 0.12, 0.25, 0.5];
/** Where the set's main plane is one away. */
const FREE_STARTS = [0.05, 0.5, 1, 1.6, 3];
/** A point off the ground counts this much beside one on it: its depth was made from the same poses. */
const WEIGHT = 0.5;
const ROUNDS = 3;

/**
 * Poses of all sights (and keys) made anew, in place, the ground's points holding the scale. Answers the depths by key.
 */
export function withPointsOffTheGround(
  keys: TravelKey[],
  sights: TravelSight[],
  ground: Ground,
  lens: Lens,
): Map<number, FreePoint>[] {
  let depths: Map<number, FreePoint>[] = [];
  for (let round = 0; round < ROUNDS; round++) {
    depths = keys.map((key, k) =>
      depthsOf(
        key,
        sights.filter((s) => s.key === k),
        lens,
        STARTS,
      ),
    );
    for (const s of sights) {
      const key = keys[s.key]!;
      const depth = depths[s.key]!;
      const g = groundPoints(key, s.matches, movedPlane(ground.n, ground.d, key.pose), lens);
      repose(keys, s, g, depth, lens);
    }
  }
  return depths;
}

/**
 * Poses made anew from all points with depths of their own, none held: for first poses, whose scale is not known yet.
 * Answers how many sights agree within a pixel, of all.
 */
export function withFreePoints(
  keys: TravelKey[],
  sights: TravelSight[],
  lens: Lens,
  rounds: number,
): { agreeing: number; depths: Map<number, FreePoint>[] } {
  const none = { points: new Float64Array(0), seen: new Float64Array(0) };
  let depths: Map<number, FreePoint>[] = [];
  for (let round = 0; round <= rounds; round++) {
    depths = keys.map((key, k) =>
      depthsOf(
        key,
        sights.filter((s) => s.key === k),
        lens,
        FREE_STARTS,
        false,
      ),
    );
    if (round === rounds) break;
    for (const s of sights) repose(keys, s, none, depths[s.key]!, lens);
  }
  return { agreeing: depths.reduce((sum, d) => sum + [...d.values()].reduce((a, p) => a + p.sights, 0), 0), depths };
}

/**
 * Pose of one frame, and of keys that begin on it, from points of the ground and those with depths of their own, in
 * place; left as it was where too few agree.
 */
function repose(
  keys: readonly TravelKey[],
  s: TravelSight,
  ground: { readonly points: Float64Array; readonly seen: Float64Array },
  depth: ReadonlyMap<number, FreePoint>,
  { focal, cx, cy }: Lens,
): void {
  const key = keys[s.key]!;
  const free = s.matches.filter((m) => depth.has(m.patch));
  const n = ground.seen.length / 2;
  const all = n + free.length;
  if (all < 12) return;
  const points = new Float64Array(3 * all);
  const seen = new Float64Array(2 * all);
  const given = new Float64Array(all).fill(1);
  points.set(ground.points);
  seen.set(ground.seen);
  free.forEach((m, i) => {
    const p = key.patches.patches[m.patch]!;
    const z = 1 / Math.max(1e-3, depth.get(m.patch)!.rho);
    points[3 * (n + i)] = ((p[0] - cx) / focal) * z;
    points[3 * (n + i) + 1] = ((p[1] - cy) / focal) * z;
    points[3 * (n + i) + 2] = z;
    seen[2 * (n + i)] = m.x - cx;
    seen[2 * (n + i) + 1] = m.y - cy;
    given[n + i] = n === 0 ? 1 : WEIGHT;
  });
  const fit = fitPose(points, seen, focal, chain(s.pose, inversePose(key.pose)), given);
  let held = 0;
  for (let i = 0; i < n; i++) if (fit.weights[i]! > 0.5) held++;
  // A frame whose ground no longer agrees is left as it was.
  if (n > 0 && held < 10) return;
  s.fit = fit;
  s.pose = chain(fit.pose, key.pose);
  for (const k of keys) if (k.frame === s.frame) k.pose = s.pose;
}

/** Depths of a key's pieces from its sights' poses, in camera heights, the ground not told apart. */
export function freeDepths(key: TravelKey, sights: readonly TravelSight[], lens: Lens): Map<number, FreePoint> {
  return depthsOf(key, sights, lens, STARTS, false);
}

/** A point's inverse depth in its key's camera, its sd, and how many sights it has. */
export interface FreePoint {
  readonly rho: number;
  readonly sd: number;
  readonly sights: number;
}

/** Inverse depth of each piece that agrees with one depth and was not found to lie on the ground. */
function depthsOf(
  key: TravelKey,
  sights: readonly TravelSight[],
  { focal, cx, cy }: Lens,
  starts: readonly number[],
  strict = true,
): Map<number, FreePoint> {
  const back = inversePose(key.pose);
  const seen = new Map<number, Sight[]>();
  for (const s of sights) {
    const pose: Pose = chain(s.pose, back);
    for (const m of s.matches) {
      if (key.ground.has(m.patch)) continue;
      const list = seen.get(m.patch) ?? [];
      list.push({ pose, x: m.x - cx, y: m.y - cy });
      seen.set(m.patch, list);
    }
  }
  const out = new Map<number, FreePoint>();
  for (const [patch, list] of seen) {
    const least = Math.max(LEAST_SIGHTS, (strict ? 0.6 : 0.5) * list.length);
    if (list.length < least) continue;
    const p = key.patches.patches[patch]!;
    const found = inverseDepth(p[0] - cx, p[1] - cy, focal, list, starts, least);
    if (found === null || (strict && found.rmsPx > AGREE_PX)) continue;
    out.set(patch, {
      rho: found.rho,
      sd: Math.max(0.08, found.rmsPx) / Math.sqrt(Math.max(1e-9, found.information)),
      sights: list.length,
    });
  }
  return out;
}
