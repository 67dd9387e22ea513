/**
 * The beginning of a travelling camera's way: first poses of what the first key shows, their scale by the ground under
 * the view's horizon, and from key to key what follows from them.
 */
import { PlatewrightError } from '../../core/errors.js';
import { applyVector, multiply, type Mat3, type Vec3 } from '../../geometry/mat3.js';
import { LEAST_POINTS } from './travel-bend.js';
import type { Ground, Lens, TravelKey, TravelSight } from './travel-ground.js';
import { withFreePoints, type FreePoint } from './travel-points.js';
import { inversePose, type Pose } from './travel-pose.js';
import { groundScale } from './travel-scale.js';
import { carryOn, poseAt, settle } from './travel-settle.js';
import { posesFromSet } from './travel-start.js';

/** The way as it is solved: poses lie in keys and sights, `ground` as the first camera has it. */
export interface Way {
  readonly keys: TravelKey[];
  sights: TravelSight[];
  ground: Ground;
  lens: Lens;
  /** The view's frame, and the ground's normal in its camera. */
  readonly viewFrame: number;
  readonly viewNormal: Vec3;
}

/** A motion of pixels as one about the picture's middle. */
function aboutMiddle(m: Mat3, { cx, cy }: Lens): Mat3 {
  return multiply([1, 0, -cx, 0, 1, -cy, 0, 0, 1], multiply(m, [1, 0, cx, 0, 1, cy, 0, 0, 1]));
}

/** The ground's normal as the first camera sees it, turned back from the view's frame. */
export function turnedBack({ sights, viewFrame, viewNormal }: Way): Vec3 {
  return applyVector(inversePose(poseAt(sights, viewFrame)).r, viewNormal);
}

/**
 * Poses of what the first key shows, and their scale: the one that most points under the horizon agree on. Which of
 * the key's pieces lie on the ground is kept in the key, where the ground is to hold the way.
 */
export function beginWay(
  way: Way,
  set: (frame: number) => Mat3,
  signal: AbortSignal | undefined,
  held = true,
): ReturnType<typeof groundScale> {
  const { keys, lens } = way;
  const early = way.sights.filter((s) => s.key === 0);
  const sets = early.map((s) => aboutMiddle(set(s.frame), lens));
  const best = firstPoses({ keys, early, sets, normal: way.viewNormal, lens }, signal);
  layPoses(keys, early, best.poses);
  way.ground = { n: turnedBack(way), d: 1 };
  const found = groundScale(keys[0]!, best.depths[0]!, way.ground, lens);
  if (held) refuseScale(found);
  const scale = found.count > 0 ? found.scale : 1;
  const scaled = best.poses.map((p): Pose => ({ r: p.r, t: [p.t[0] * scale, p.t[1] * scale, p.t[2] * scale] }));
  layPoses(keys, early, scaled);
  if (held) for (const p of found.ground) keys[0]!.ground.add(p);
  return found;
}

/** From key to key: each further one begins where the one before still sees enough. */
export function carryThrough(
  way: Way,
  bridges: readonly TravelSight[],
  signal: AbortSignal | undefined,
  held = true,
): void {
  const { keys, sights, ground, lens } = way;
  const upTo = (k: number): TravelSight[] => sights.filter((s) => s.key <= k);
  let depths = settle([keys[0]!], upTo(0), ground, lens);
  for (let k = 1; k < keys.length; k++) {
    signal?.throwIfAborted();
    const mine = sights.filter((s) => s.key === k);
    carryOn({ keys, mine, bridges: bridges.filter((b) => b.key === k - 1), depths, ground, lens, k });
    if (!held) keys[k]!.ground.clear();
    depths = settle(keys.slice(0, k + 1), upTo(k), ground, lens);
  }
}

/** Gives the first key's frames their poses, and keys that begin on one of them. */
function layPoses(keys: readonly TravelKey[], early: readonly TravelSight[], poses: readonly Pose[]): void {
  early.forEach((s, i) => {
    s.pose = poses[i]!;
    for (const k of keys) if (k.frame === s.frame) k.pose = s.pose;
  });
}

/** What the first key shows, before anything of the way is known. */
interface FirstKey {
  readonly keys: readonly TravelKey[];
  readonly early: TravelSight[];
  /** The set's motion from the first frame to each of `early`, about the picture's middle. */
  readonly sets: readonly Mat3[];
  /** Of the ground as the view has it. */
  readonly normal: Vec3;
  readonly lens: Lens;
}

interface FirstWay {
  readonly agreeing: number;
  readonly poses: readonly Pose[];
  readonly depths: Map<number, FreePoint>[];
}

/**
 * First poses of what the first key shows, up to scale: the plane that the set's motion follows may be the floor or a
 * wall; the one that most points agree with is kept. Throws `PW-TRAVEL-GROUND` where none does.
 */
function firstPoses({ keys, early, sets, normal, lens }: FirstKey, signal: AbortSignal | undefined): FirstWay {
  let best: FirstWay | null = null;
  for (const n0 of [normal, [0, 0, 1], [0.7, 0, 0.7], [-0.7, 0, 0.7]] as const) {
    signal?.throwIfAborted();
    const first = posesFromSet(sets, lens, n0);
    if (first === null) continue;
    layPoses(keys, early, first.poses);
    const free = withFreePoints([keys[0]!], early, lens, 4);
    if (best === null || free.agreeing > best.agreeing)
      best = { agreeing: free.agreeing, poses: early.map((s) => s.pose), depths: free.depths };
  }
  if (best === null)
    throw new PlatewrightError(
      'PW-TRAVEL-GROUND',
      "the camera travels, but what is seen fits no camera's way; " +
        'it may zoom, or too much of the picture moves by itself',
    );
  return best;
}

/** Refuses a scale that too few points agree on, or that reads two ways. */
function refuseScale(found: ReturnType<typeof groundScale>): void {
  if (found.count < LEAST_POINTS) {
    throw new PlatewrightError(
      'PW-TRAVEL-GROUND',
      `the camera travels, but too little of the ground can be followed to say how far (${found.count} points of ` +
        `it agree, ${LEAST_POINTS} are needed): a plain floor tells nothing, and people hide it; ` +
        'check the view, or mark ground lines where the floor has a pattern',
    );
  }
  if (found.rival > 0.75 * found.count)
    throw new PlatewrightError(
      'PW-TRAVEL-LOOSE',
      `the camera travels, but its way can be read two ways (${found.count} points of the ground speak for one, ` +
        `${found.rival} for another); make the view surer: mark another upright of known height, and ground lines`,
    );
}
