/**
 * Poses of a travelling camera for a known ground: each key's frames from the ground's pieces it sees, then with the
 * points off the ground, and from one key on to the next.
 */
import { AT_HOME, chain, fitPose, inversePose, movedPlane, type Pose, type PoseFit } from './travel-pose.js';
import { groundPoints, type Ground, type Lens, type TravelKey, type TravelSight } from './travel-ground.js';
import { freeDepths, withPointsOffTheGround, type FreePoint } from './travel-points.js';
import { onGround, thoseOnGround } from './travel-scale.js';

/** Poses from the ground, then with the points off it; their depths by key. */
export function settle(keys: TravelKey[], sights: TravelSight[], ground: Ground, lens: Lens): Map<number, FreePoint>[] {
  refit(keys, sights, ground, lens);
  return withPointsOffTheGround(keys, sights, ground, lens);
}

/** What a further key begins from. */
export interface CarryOn {
  readonly keys: TravelKey[];
  /** Frames of the key `k`. */
  readonly mine: TravelSight[];
  /** The same frames as the key before sees them. */
  readonly bridges: readonly TravelSight[];
  /** Of points off the ground, by key. */
  readonly depths: readonly ReadonlyMap<number, FreePoint>[];
  readonly ground: Ground;
  readonly lens: Lens;
  readonly k: number;
}

/**
 * First poses of the frames of key `k`, from what the key before still sees of them,
 * and which of its pieces lie on the ground.
 */
export function carryOn({ keys, mine, bridges, depths, ground, lens, k }: CarryOn): void {
  const { focal, cx, cy } = lens;
  const before = keys[k - 1]!;
  const key = keys[k]!;
  const back = inversePose(before.pose);
  const plane = movedPlane(ground.n, ground.d, before.pose);
  let last = key.pose;
  let step = AT_HOME;
  for (const s of mine) {
    const b = bridges.find((x) => x.frame === s.frame);
    const guess = chain(step, last);
    const known = (b?.matches ?? []).flatMap((m) => {
      const rho = before.ground.has(m.patch)
        ? onGround(before, m.patch, plane, lens)
        : (depths[k - 1]?.get(m.patch)?.rho ?? null);
      return rho === null ? [] : [{ m, z: 1 / Math.max(1e-3, rho), p: before.patches.patches[m.patch]! }];
    });
    s.pose = guess;
    if (known.length >= 10) {
      const fit = fitPose(
        Float64Array.from(known.flatMap(({ p, z }) => [((p[0] - cx) / focal) * z, ((p[1] - cy) / focal) * z, z])),
        Float64Array.from(known.flatMap(({ m }) => [m.x - cx, m.y - cy])),
        focal,
        chain(guess, back),
      );
      if (fit.agreeing >= 8) s.pose = chain(fit.pose, before.pose);
    }
    step = chain(s.pose, inversePose(last));
    last = s.pose;
  }
  const free = freeDepths(key, mine, lens);
  for (const p of thoseOnGround(key, free, movedPlane(ground.n, ground.d, key.pose), lens)) key.ground.add(p);
}

/** Pose from the ground's points alone; null where too few are seen. */
function groundFit(
  key: TravelKey,
  matches: TravelSight['matches'],
  plane: Ground,
  lens: Lens,
  start: Pose,
): PoseFit | null {
  const { points, seen } = groundPoints(key, matches, plane, lens);
  return seen.length < 2 * 8 ? null : fitPose(points, seen, lens.focal, start);
}

/** All poses anew for a ground, in order, so that keys have theirs before what hangs on them. */
function refit(keys: TravelKey[], sights: TravelSight[], ground: Ground, lens: Lens): void {
  for (const s of sights) {
    const key = keys[s.key]!;
    const plane = movedPlane(ground.n, ground.d, key.pose);
    const fit = groundFit(key, s.matches, plane, lens, chain(s.pose, inversePose(key.pose)));
    if (fit !== null) {
      s.fit = fit;
      s.pose = chain(fit.pose, key.pose);
    }
    for (const k of keys) if (k.frame === s.frame) k.pose = s.pose;
  }
}

/** Pose of a frame from the first; the first frame itself has no sight and is at home. */
export function poseAt(sights: readonly TravelSight[], frame: number): Pose {
  return sights.find((s) => s.frame === frame)?.pose ?? AT_HOME;
}
