/**
 * Points off the ground (walls, posts, what is far away) join in solving a travelling camera: each gets the depth that its sights
 * agree on, and the poses are had again from all points, by turns (resection and intersection: Triggs et al., *Bundle
 * Adjustment: A Modern Synthesis*, 1999, section 6.3). The ground's points keep their places: they hold the scale. What moves
 * by itself agrees with no depth and stays out.
 */
import { movedPlane, chain, fitPose, inverseDepth, inversePose, type Pose, type Sight } from './travel-pose.js';
import { groundPoints, type Ground, type TravelKey, type TravelSight } from './travel-ground.js';

/** Sights that a point must have, and how well they must agree. */
const LEAST_SIGHTS = 6, AGREE_PX = 0.5;
/** Inverse depths to begin from, in one over the camera's height. */
const STARTS = [0.01, 0.05, 0.12, 0.25, 0.5];
/** A point off the ground counts this much beside one on it: its depth was made from the same poses. */
const WEIGHT = 0.5;
const ROUNDS = 3;

/** Poses of all sights (and keys) made anew, in place. */
export function withPointsOffTheGround(keys: TravelKey[], sights: TravelSight[], ground: Ground, focal: number, cx: number, cy: number): void {
  for (let round = 0; round < ROUNDS; round++) {
    const depths = keys.map((key, k) => depthsOf(key, sights.filter((s) => s.key === k), ground, focal, cx, cy));
    for (const s of sights) {
      const key = keys[s.key]!, depth = depths[s.key]!;
      const plane = movedPlane(ground.n, ground.d, key.pose);
      const g = groundPoints(key, s.matches.filter((m) => !depth.has(m.patch)), plane, focal, cx, cy);
      const free = s.matches.filter((m) => depth.has(m.patch));
      const n = g.seen.length / 2, all = n + free.length;
      if (all < 12) continue;
      const points = new Float64Array(3 * all), seen = new Float64Array(2 * all), given = new Float64Array(all).fill(1);
      points.set(g.points); seen.set(g.seen);
      free.forEach((m, i) => {
        const p = key.patches.patches[m.patch]!, z = 1 / Math.max(1e-3, depth.get(m.patch)!);
        points[3 * (n + i)] = ((p[0] - cx) / focal) * z; points[3 * (n + i) + 1] = ((p[1] - cy) / focal) * z; points[3 * (n + i) + 2] = z;
        seen[2 * (n + i)] = m.x - cx; seen[2 * (n + i) + 1] = m.y - cy;
        given[n + i] = WEIGHT;
      });
      const fit = fitPose(points, seen, focal, chain(s.pose, inversePose(key.pose)), given);
      // A frame whose ground no longer agrees is left as it was.
      let held = 0;
      for (let i = 0; i < n; i++) if (fit.weights[i]! > 0.5) held++;
      if (held < 10) continue;
      s.fit = fit;
      s.pose = chain(fit.pose, key.pose);
      for (const k of keys) if (k.frame === s.frame) k.pose = s.pose;
    }
  }
}

/** Inverse depth in the key's camera of each patch that is not on the ground but agrees with one depth. */
function depthsOf(key: TravelKey, sights: readonly TravelSight[], ground: Ground, focal: number, cx: number, cy: number): Map<number, number> {
  const plane = movedPlane(ground.n, ground.d, key.pose), back = inversePose(key.pose);
  const seen = new Map<number, Sight[]>();
  for (const s of sights) {
    if (s.fit === null) continue;
    const pose: Pose = chain(s.pose, back);
    for (const m of s.matches) {
      const list = seen.get(m.patch) ?? [];
      list.push({ pose, x: m.x - cx, y: m.y - cy });
      seen.set(m.patch, list);
    }
  }
  const out = new Map<number, number>();
  for (const [patch, list] of seen) {
    const least = Math.max(LEAST_SIGHTS, 0.6 * sights.length);
    if (list.length < least) continue;
    const p = key.patches.patches[patch]!, x = p[0] - cx, y = p[1] - cy;
    const onGround = ((plane.n[0] * x + plane.n[1] * y) / focal + plane.n[2]) / plane.d;
    const found = inverseDepth(x, y, focal, list, onGround > 0 ? [onGround, ...STARTS] : STARTS, least);
    if (found === null || found.rmsPx > AGREE_PX) continue;
    // Within what its sights can tell it lies on the ground: then the ground has it.
    const sd = found.rmsPx / Math.sqrt(Math.max(1e-9, found.information));
    if (onGround > 0 && Math.abs(found.rho - onGround) < Math.max(3 * sd, 0.02 * onGround)) continue;
    out.set(patch, found.rho);
  }
  return out;
}
