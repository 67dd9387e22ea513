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
import { AT_HOME, chain, inversePose, movedPlane, planeHomographyCentred, type Pose } from './travel-pose.js';
import { bendGround } from './travel-bend.js';
import type { Lens, TravelKey, TravelSight } from './travel-ground.js';
import type { FreePoint } from './travel-points.js';
import { beginWay, carryThrough, turnedBack, type Way } from './travel-begin.js';
import { trackAgain, trackPieces, type Tracked } from './travel-track.js';
import type { Travel } from '../types.js';
import { type TravelRequest, travelAnswer } from './travel-answer.js';
import { poseAt, settle } from './travel-settle.js';
import type { groundScale } from './travel-scale.js';
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
export async function measureTravel(
  source: LumaSource,
  request: TravelRequest,
  pieces?: Promise<Tracked>,
): Promise<Travel> {
  const { view, span, signal } = request;
  const scale = source.widthPx / view.widthPx;
  const set = setMotion(request, scale);
  const { way, scaleFound } = wayOver(
    source,
    request,
    await (pieces ?? followPieces(source, { ...request, widthPx: view.widthPx })),
  );
  const { keys, lens, viewFrame } = way;
  const bent = bendGround(keys, way.sights, way.ground, lens, view);
  way.lens = { ...lens, focal: bent.focalPx };
  way.ground = bent.ground;
  const depths = settle(keys, way.sights, way.ground, way.lens);
  // Once more with every piece seen as its own plane shows it.
  const seenAs = planesOf(way, depths);
  way.sights = await trackAgain(source, span, keys, way.sights, seenAs, signal);
  settle(keys, way.sights, way.ground, way.lens);
  refuseLost(way, 'its ground', (s) => s.fit !== null && s.matches.length >= LEAST_SEEN);
  const { focal } = way.lens;
  const miss = groundMiss({ ...way, focal, set, pixels: (m) => fromMiddle(m, way.lens) });
  const told = travelAnswer({
    sights: way.sights,
    ground: way.ground,
    focalPx: focal / scale,
    atFrame: viewFrame,
    firstFrame: span.in,
    view,
    request,
    scale,
    scaleSd: Math.hypot(scaleFound.sd, bent.tiltSd * leverOf(keys[0]!, way.ground, way.lens)),
  });
  refuseDoubt(told, miss, scale);
  return told;
}

/** Pieces of the set followed through the span: the same for every view that is tried on them. */
export function followPieces(
  source: LumaSource,
  { camera, span, signal, widthPx }: Omit<TravelRequest, 'view'> & { readonly widthPx: number },
): Promise<Tracked> {
  return trackPieces(source, span, setMotion({ camera, span }, source.widthPx / widthPx), signal);
}

/**
 * The poses of all frames from pieces with depths of their own alone, the ground not told apart; the scale is the one
 * that most pieces under the view's horizon would have on the ground, and may be far off. `tracked` is left as it was.
 * Throws `PW-TRAVEL-VIEW`, `PW-TRAVEL-GROUND`.
 */
export function freeWay(
  source: Pick<LumaSource, 'widthPx' | 'heightPx'>,
  request: TravelRequest,
  tracked: Tracked,
): Way {
  const { way, set, bridges } = wayBegun(source, request, tracked);
  beginWay(way, set, request.signal, false);
  carryThrough(way, bridges, request.signal, false);
  refuseLost(way, 'it', (s) => s.fit !== null);
  return way;
}

/**
 * The poses of all frames and which pieces lie on the ground, as the view has lens and ground; `tracked` is left as it
 * was. Throws as `measureTravel` does.
 */
function wayOver(
  source: Pick<LumaSource, 'widthPx' | 'heightPx'>,
  request: TravelRequest,
  tracked: Tracked,
): { readonly way: Way; readonly scaleFound: ReturnType<typeof groundScale> } {
  const { way, set, bridges } = wayBegun(source, request, tracked);
  const scaleFound = beginWay(way, set, request.signal);
  carryThrough(way, bridges, request.signal);
  levelFromView(way);
  refuseLost(way, 'it', (s) => s.fit !== null);
  return { way, scaleFound };
}

/** A way with nothing solved yet, over pieces of its own. */
function wayBegun(
  source: Pick<LumaSource, 'widthPx' | 'heightPx'>,
  request: TravelRequest,
  tracked: Tracked,
): { readonly way: Way; readonly set: (frame: number) => Mat3; readonly bridges: TravelSight[] } {
  const { view, span } = request;
  const { lens, normal } = lensAndGround(source, request);
  const set = setMotion(request, source.widthPx / view.widthPx);
  const keys = tracked.keys.map((k): TravelKey => ({ ...k, pose: AT_HOME, ground: new Set() }));
  const fresh = (s: TravelSight): TravelSight => ({ ...s, pose: AT_HOME, fit: null });
  const sights = tracked.sights.map(fresh);
  if (sights.length < LEAST_FRAMES)
    throw new PlatewrightError(
      'PW-TRAVEL-GROUND',
      `the camera travels, but ${sights.length + 1} frames are too few to say how`,
    );
  const viewFrame = Math.min(span.out - 1, Math.max(span.in, view.frame));
  // The set's turn between the view's frame and the first is not known yet: begun as if
  // there were none, mended after the first pass.
  const way: Way = { keys, sights, ground: { n: normal, d: 1 }, lens, viewFrame, viewNormal: normal };
  return { way, set, bridges: tracked.bridges.map(fresh) };
}

/** The view's lens in the small picture, and the ground's normal in the view's camera. */
function lensAndGround(
  source: Pick<LumaSource, 'widthPx' | 'heightPx'>,
  { view }: TravelRequest,
): { lens: Lens; normal: Vec3 } {
  const focal = view.focalPx.value;
  const tilt = view.tiltDeg.value;
  if (focal === null || tilt === null)
    throw new PlatewrightError(
      'PW-TRAVEL-VIEW',
      "how the camera looks at the ground is not known, so its way over it can't be had; " +
        'mark an upright of known height and a pair of ground lines',
    );
  const { widthPx: w, heightPx: h } = source;
  const up = applyVector(worldToCamera(0, tilt, view.rollDeg.value ?? 0), [0, 1, 0]);
  return { lens: { focal: focal * (w / view.widthPx), cx: w / 2, cy: h / 2 }, normal: [-up[0], -up[1], -up[2]] };
}

/**
 * How the set moved from the first frame to another, in the small picture's pixels.
 *
 * @param scale small px to one of the plate
 */
function setMotion({ camera, span }: Pick<TravelRequest, 'camera' | 'span'>, scale: number): (frame: number) => Mat3 {
  const setAt = new Map(camera.frames.map((c) => [c.frame, invert(c.homographyToFirst)]));
  const toSmall = (m: Mat3): Mat3 =>
    multiply([scale, 0, 0, 0, scale, 0, 0, 0, 1], multiply(m, [1 / scale, 0, 0, 0, 1 / scale, 0, 0, 0, 1]));
  const firstSet = setAt.get(span.in) ?? IDENTITY3;
  return (frame) => toSmall(multiply(setAt.get(frame) ?? firstSet, invert(firstSet)));
}

/** The way back: a motion about the picture's middle as one of pixels. */
function fromMiddle(m: Mat3, { cx, cy }: Lens): Mat3 {
  return multiply([1, 0, cx, 0, 1, cy, 0, 0, 1], multiply(m, [1, 0, -cx, 0, 1, -cy, 0, 0, 1]));
}

/** Heights are counted in the camera's height at the view's frame: the first frame's own follows from the poses. */
function levelFromView(way: Way): void {
  for (let round = 0; round < 2; round++) {
    const n = turnedBack(way);
    way.ground = { n, d: 1 / Math.max(0.2, movedPlane(n, 1, poseAt(way.sights, way.viewFrame)).d) };
    settle(way.keys, way.sights, way.ground, way.lens);
  }
}

/** Refuses a way that was lost on more than a fifth of its frames. */
function refuseLost({ sights }: Way, what: string, held: (s: TravelSight) => boolean): void {
  const count = sights.filter(held).length;
  if (count < 0.8 * sights.length)
    throw new PlatewrightError(
      'PW-TRAVEL-GROUND',
      `the camera travels, but ${what} can be followed on ${count} of ${sights.length} frames only`,
    );
}

/**
 * How each piece of a key is seen in a frame: under the ground's plane, under its own depth, or as something far off.
 */
function planesOf(
  { keys, ground, lens }: Way,
  depths: readonly ReadonlyMap<number, FreePoint>[],
): (key: TravelKey, s: TravelSight, piece: number) => Mat3 | null {
  const planes = keys.map((k) => movedPlane(ground.n, ground.d, k.pose));
  const shown = (p: Pose, n: Vec3, d: number): Mat3 => fromMiddle(planeHomographyCentred(p, n, d, lens.focal), lens);
  return (key, s, piece) => {
    const p = chain(s.pose, inversePose(key.pose));
    const own = depths[s.key]!.get(piece);
    const plane = planes[s.key]!;
    if (key.ground.has(piece)) return shown(p, plane.n, plane.d);
    if (own === undefined) return null;
    // So far off that only the camera's turn shows.
    if (own.rho < 1e-3) return shown({ r: p.r, t: [0, 0, 0] }, plane.n, 1);
    return shown(p, [0, 0, 1], 1 / own.rho);
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
