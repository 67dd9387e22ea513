/**
 * Where a camera that travels stands on each frame, in metres, from the ground it moves over. The view says how the
 * ground lies before the camera at one frame and how high the camera is over it; points of that ground are found again
 * in every frame, and the motion of a known plane gives rotation and translation with their scale (the plane's
 * homography is K (R + t nᵀ/d) K⁻¹: O. Faugeras & F. Lustman, Int. J. Pattern Recognition and AI 2(3), 1988; Hartley &
 * Zisserman, 2004, chapter 13; as the plane is known beforehand, the decomposition's ambiguity does not arise). How the
 * plane lies is then refined together with the poses, held by the view's own uncertainty (travel-bend.ts); last, points
 * off the ground join with depths of their own (travel-points.ts).
 */
import { PlatewrightError } from '../../core/errors.js';
import { worldToCamera } from '../../geometry/camera.js';
import { applyVector, IDENTITY3, invert, multiply, type Mat3, type Vec3 } from '../../geometry/mat3.js';
import type { LumaSource } from '../ride/ride-source.js';
import { chain, inversePose, movedPlane, planeHomographyCentred, type Pose } from './travel-pose.js';
import { bendGround, LEAST_POINTS } from './travel-bend.js';
import type { Ground, TravelKey, TravelSight } from './travel-ground.js';
import { withFreePoints, type FreePoint } from './travel-points.js';
import { posesFromSet } from './travel-start.js';
import { trackAgain, trackPieces } from './travel-track.js';
import type { Travel } from '../types.js';
import { type TravelRequest, answer } from './travel-answer.js';
import { carryOn, poseAt, settle } from './travel-settle.js';
import { groundScale } from './travel-scale.js';
import { groundMiss, leverOf } from './travel-doubt.js';

/** Fewer pieces than this, found again on a frame, hold no pose. */
const LEAST_SEEN = 8;
/**
 * The set's motion must miss the ground by so much more than an unsure way does, else the way is left alone
 * (1 on hand-held grass, 16 on the practice push).
 */
const LEAST_GAIN = 2;
/** Fewer frames than this tell no way. */
const LEAST_FRAMES = 5;

/**
 * @throws `PW-TRAVEL-VIEW` without focal length or tilt, `PW-TRAVEL-GROUND` where too little of the ground is seen to
 * move, `PW-TRAVEL-LOOSE` where the answer would be worth nothing
 */
export async function measureTravel(source: LumaSource, request: TravelRequest): Promise<Travel> {
  const { view, camera, span } = request;
  const f0 = view.focalPx.value;
  const tilt = view.tiltDeg.value;
  if (f0 === null || tilt === null)
    throw new PlatewrightError(
      'PW-TRAVEL-VIEW',
      "how the camera looks at the ground is not known, so its way over it can't be had; " +
        'mark an upright of known height and a pair of ground lines',
    );
  const { widthPx: w, heightPx: h } = source;
  const scale = w / view.widthPx;
  let focal = f0 * scale;
  const cx = w / 2;
  const cy = h / 2;
  const lens: Lens = { focal, w, h };
  const up = applyVector(worldToCamera(0, tilt, view.rollDeg.value ?? 0), [0, 1, 0]);
  const viewGround: Ground = { n: [-up[0], -up[1], -up[2]], d: 1 };
  // The set's turn between the view's frame and the first is not known yet: begun as if
  // there were none, mended after the first pass.
  let ground: Ground = viewGround;
  const viewFrame = Math.min(span.out - 1, Math.max(span.in, view.frame));

  const setAt = new Map(camera.frames.map((c) => [c.frame, invert(c.homographyToFirst)]));
  const toSmall = (m: Mat3): Mat3 =>
    multiply([scale, 0, 0, 0, scale, 0, 0, 0, 1], multiply(m, [1 / scale, 0, 0, 0, 1 / scale, 0, 0, 0, 1]));
  const centred = (m: Mat3): Mat3 =>
    multiply([1, 0, -cx, 0, 1, -cy, 0, 0, 1], multiply(m, [1, 0, cx, 0, 1, cy, 0, 0, 1]));
  const firstSet = setAt.get(span.in) ?? IDENTITY3;
  const set = (frame: number): Mat3 => toSmall(multiply(setAt.get(frame) ?? firstSet, invert(firstSet)));
  const tracked = await trackPieces(source, span, set, request.signal);
  const { keys, bridges } = tracked;
  let { sights } = tracked;
  if (sights.length < LEAST_FRAMES)
    throw new PlatewrightError(
      'PW-TRAVEL-GROUND',
      `the camera travels, but ${sights.length + 1} frames are too few to say how`,
    );

  const own = (k: number): TravelSight[] => sights.filter((s) => s.key === k);
  const firstKey = [keys[0]!];
  const early = own(0);
  const lay = (poses: readonly Pose[]): void => layPoses(keys, early, poses);
  const best = firstPoses(
    keys,
    early,
    early.map((s) => centred(set(s.frame))),
    viewGround.n,
    lens,
    request.signal,
  );
  lay(best.poses);

  // The ground as the first camera sees it, turned back from the view's frame; then the
  // scale that most points under the horizon agree on.
  const turnedBack = (): Vec3 => applyVector(inversePose(poseAt(sights, viewFrame)).r, viewGround.n);
  ground = { n: turnedBack(), d: 1 };
  const found = groundScale(keys[0]!, best.depths[0]!, ground, focal, cx, cy);
  refuseScale(found);
  lay(best.poses.map((p) => ({ r: p.r, t: [p.t[0] * found.scale, p.t[1] * found.scale, p.t[2] * found.scale] })));
  for (const p of found.ground) keys[0]!.ground.add(p);
  let depths = settle(firstKey, early, ground, focal, cx, cy);
  // Each further key begins where the one before still sees enough.
  for (let k = 1; k < keys.length; k++) {
    request.signal?.throwIfAborted();
    carryOn({ keys, mine: own(k), bridges: bridges.filter((b) => b.key === k - 1), depths, ground, focal, cx, cy, k });
    depths = settle(
      keys.slice(0, k + 1),
      sights.filter((s) => s.key <= k),
      ground,
      focal,
      cx,
      cy,
    );
  }
  for (let round = 0; round < 2; round++) {
    // Heights are counted in the camera's height at the view's frame: the first frame's own follows from the poses.
    const n = turnedBack();
    ground = { n, d: 1 / Math.max(0.2, movedPlane(n, 1, poseAt(sights, viewFrame)).d) };
    settle(keys, sights, ground, focal, cx, cy);
  }
  const usable = sights.filter((s) => s.fit !== null);
  if (usable.length < 0.8 * sights.length)
    throw new PlatewrightError(
      'PW-TRAVEL-GROUND',
      `the camera travels, but it can be followed on ${usable.length} of ${sights.length} frames only`,
    );
  const bent = bendGround(keys, sights, ground, focal, cx, cy, view);
  focal = bent.focalPx;
  ground = bent.ground;
  depths = settle(keys, sights, ground, focal, cx, cy);
  // Once more with every piece seen as its own plane shows it.
  const pixels = (m: Mat3): Mat3 =>
    multiply([1, 0, cx, 0, 1, cy, 0, 0, 1], multiply(m, [1, 0, -cx, 0, 1, -cy, 0, 0, 1]));
  const seenAs = planesOf(keys, depths, ground, focal, pixels);
  sights = await trackAgain(source, span, keys, sights, seenAs, request.signal);
  settle(keys, sights, ground, focal, cx, cy);
  const still = sights.filter((s) => s.fit !== null && s.matches.length >= LEAST_SEEN).length;
  if (still < 0.8 * sights.length)
    throw new PlatewrightError(
      'PW-TRAVEL-GROUND',
      `the camera travels, but its ground can be followed on ${still} of ${sights.length} frames only`,
    );
  const miss = groundMiss({ keys, sights, ground, focal, set, pixels });
  const told = answer({
    sights,
    ground,
    focalPx: focal / scale,
    atFrame: viewFrame,
    firstFrame: span.in,
    view,
    request,
    scale,
    scaleSd: Math.hypot(found.sd, bent.tiltSd * leverOf(keys[0]!, ground, focal, cx, cy)),
  });
  refuseDoubt(told, miss, scale);
  return told;
}

/** The lens and the size of the picture that it is followed in, px. */
interface Lens {
  readonly focal: number;
  readonly w: number;
  readonly h: number;
}

/** Gives the first key's frames their poses, and keys that begin on one of them. */
function layPoses(keys: readonly TravelKey[], early: readonly TravelSight[], poses: readonly Pose[]): void {
  early.forEach((s, i) => {
    s.pose = poses[i]!;
    for (const k of keys) if (k.frame === s.frame) k.pose = s.pose;
  });
}

/**
 * First poses of what the first key shows, up to scale: the plane that the set's motion follows may be the floor or a
 * wall; the one that most points agree with is kept. Throws `PW-TRAVEL-GROUND` where none does.
 * @param sets the set's motion from the first frame to each of `early`, about the picture's middle
 * @param normal of the ground as the view has it
 */
function firstPoses(
  keys: readonly TravelKey[],
  early: TravelSight[],
  sets: readonly Mat3[],
  normal: Vec3,
  { focal, w, h }: Lens,
  signal: AbortSignal | undefined,
): { agreeing: number; poses: readonly Pose[]; depths: Map<number, FreePoint>[] } {
  const firstKey = [keys[0]!];
  let best: { agreeing: number; poses: readonly Pose[]; depths: Map<number, FreePoint>[] } | null = null;
  for (const n0 of [normal, [0, 0, 1], [0.7, 0, 0.7], [-0.7, 0, 0.7]] as const) {
    signal?.throwIfAborted();
    const first = posesFromSet(sets, focal, w, h, n0);
    if (first === null) continue;
    layPoses(keys, early, first.poses);
    const free = withFreePoints(firstKey, early, focal, w / 2, h / 2, 4);
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

/**
 * How each piece of a key is seen in a frame: under the ground's plane, under its own depth, or as something far off.
 */
function planesOf(
  keys: readonly TravelKey[],
  depths: readonly ReadonlyMap<number, FreePoint>[],
  ground: Ground,
  focal: number,
  pixels: (m: Mat3) => Mat3,
): (key: TravelKey, s: TravelSight, piece: number) => Mat3 | null {
  const planes = keys.map((k) => movedPlane(ground.n, ground.d, k.pose));
  return (key, s, piece) => {
    const p = chain(s.pose, inversePose(key.pose));
    const own = depths[s.key]!.get(piece);
    const plane = planes[s.key]!;
    if (key.ground.has(piece)) return pixels(planeHomographyCentred(p, plane.n, plane.d, focal));
    return own === undefined || own.rho < 1e-3
      ? own === undefined
        ? null
        : pixels(planeHomographyCentred({ r: p.r, t: [0, 0, 0] }, plane.n, 1, focal))
      : pixels(planeHomographyCentred(p, [0, 0, 1], 1 / own.rho, focal));
  };
}

/**
 * Refuses a way that is mostly doubt where the set's own motion meets the ground as well: it would carry a foot astray
 * and gain nothing. @param scale px of the small picture to one of the plate
 */
function refuseDoubt(told: Travel, miss: { set: number; way: number }, scale: number): void {
  if (told.way.sd! > 0.5 * told.way.value! && !(miss.set > LEAST_GAIN * miss.way))
    throw new PlatewrightError(
      'PW-TRAVEL-LOOSE',
      `the ground moves as the set does, within ${(miss.set / scale).toFixed(1)} px, ` +
        `and the camera's way over it (${told.way.value!.toFixed(2)} ± ${told.way.sd!.toFixed(2)}) is too unsure ` +
        'to be of use; make the view surer: mark another upright of known height, and ground lines',
    );
}
