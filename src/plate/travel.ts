/**
 * Where a camera that travels stands on each frame, in metres, from the ground it moves over. The view says how the
 * ground lies before the camera at one frame and how high the camera is over it; points of that ground are found again
 * in every frame, and the motion of a known plane gives rotation and translation with their scale (the plane's
 * homography is K (R + t nᵀ/d) K⁻¹: O. Faugeras & F. Lustman, Int. J. Pattern Recognition and AI 2(3), 1988; Hartley &
 * Zisserman, 2004, chapter 13; as the plane is known beforehand, the decomposition's ambiguity does not arise). How the
 * plane lies is then refined together with the poses, held by the view's own uncertainty (travel-bend.ts); last, points
 * off the ground join with depths of their own (travel-points.ts).
 */
import { measured } from '../core/measure.js';
import { PlatewrightError } from '../core/errors.js';
import { worldToCamera } from '../geometry/camera.js';
import { apply, applyVector, IDENTITY3, invert, multiply, type Mat3, type Vec3 } from '../geometry/mat3.js';
import type { LumaSource } from './ride-source.js';
import { bendGround, LEAST_POINTS } from './travel-bend.js';
import {
  AT_HOME,
  chain,
  fitPose,
  inversePose,
  movedPlane,
  planeHomographyCentred,
  type Pose,
  type PoseFit,
} from './travel-pose.js';
import { groundPoints, meetsGround, type Ground, type TravelKey, type TravelSight } from './travel-ground.js';
import { freeDepths, withFreePoints, withPointsOffTheGround, type FreePoint } from './travel-points.js';
import { posesFromSet } from './travel-start.js';
import { trackAgain, trackPieces } from './travel-track.js';
import type { CameraMove, Travel, View } from './types.js';

export interface TravelRequest {
  readonly view: View;
  /** The set's measured motion over the same frames: where to look first. */
  readonly camera: CameraMove;
  readonly span: { readonly in: number; readonly out: number };
  readonly signal?: AbortSignal;
}

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
  // First poses of what the first key shows, up to scale: the plane that the set's motion follows may be the floor or a
  // wall; the one that most points agree with is kept.
  const sets = early.map((s) => centred(set(s.frame)));
  let best: { agreeing: number; poses: readonly Pose[]; depths: Map<number, FreePoint>[] } | null = null;
  const lay = (poses: readonly Pose[]): void =>
    early.forEach((s, i) => {
      s.pose = poses[i]!;
      for (const k of keys) if (k.frame === s.frame) k.pose = s.pose;
    });
  for (const n0 of [viewGround.n, [0, 0, 1], [0.7, 0, 0.7], [-0.7, 0, 0.7]] as const) {
    request.signal?.throwIfAborted();
    const first = posesFromSet(sets, focal, w, h, n0);
    if (first === null) continue;
    lay(first.poses);
    const free = withFreePoints(firstKey, early, focal, cx, cy, 4);
    if (best === null || free.agreeing > best.agreeing)
      best = { agreeing: free.agreeing, poses: early.map((s) => s.pose), depths: free.depths };
  }
  if (best === null)
    throw new PlatewrightError(
      'PW-TRAVEL-GROUND',
      "the camera travels, but what is seen fits no camera's way; " +
        'it may zoom, or too much of the picture moves by itself',
    );
  lay(best.poses);

  // The ground as the first camera sees it, turned back from the view's frame; then the
  // scale that most points under the horizon agree on.
  const turnedBack = (): Vec3 => applyVector(inversePose(poseAt(sights, viewFrame)).r, viewGround.n);
  ground = { n: turnedBack(), d: 1 };
  const found = groundScale(keys[0]!, best.depths[0]!, ground, focal, cx, cy);
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
  lay(best.poses.map((p) => ({ r: p.r, t: [p.t[0] * found.scale, p.t[1] * found.scale, p.t[2] * found.scale] })));
  for (const p of found.ground) keys[0]!.ground.add(p);
  let depths = settle(firstKey, early, ground, focal, cx, cy);
  // Each further key begins where the one before still sees enough.
  for (let k = 1; k < keys.length; k++) {
    request.signal?.throwIfAborted();
    carryOn(
      keys,
      own(k),
      bridges.filter((b) => b.key === k - 1),
      depths,
      ground,
      focal,
      cx,
      cy,
      k,
    );
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
  const planes = keys.map((k) => movedPlane(ground.n, ground.d, k.pose));
  sights = await trackAgain(
    source,
    span,
    keys,
    sights,
    (key, s, piece) => {
      const p = chain(s.pose, inversePose(key.pose));
      const own = depths[s.key]!.get(piece);
      const plane = planes[s.key]!;
      if (key.ground.has(piece)) return pixels(planeHomographyCentred(p, plane.n, plane.d, focal));
      return own === undefined || own.rho < 1e-3
        ? own === undefined
          ? null
          : pixels(planeHomographyCentred({ r: p.r, t: [0, 0, 0] }, plane.n, 1, focal))
        : pixels(planeHomographyCentred(p, [0, 0, 1], 1 / own.rho, focal));
    },
    request.signal,
  );
  settle(keys, sights, ground, focal, cx, cy);
  const still = sights.filter((s) => s.fit !== null && s.matches.length >= LEAST_SEEN).length;
  if (still < 0.8 * sights.length)
    throw new PlatewrightError(
      'PW-TRAVEL-GROUND',
      `the camera travels, but its ground can be followed on ${still} of ${sights.length} frames only`,
    );
  const miss = groundMiss(keys, sights, ground, focal, cx, cy, set, pixels);
  const told = answer(
    sights,
    ground,
    focal / scale,
    viewFrame,
    span.in,
    view,
    request,
    scale,
    Math.hypot(found.sd, bent.tiltSd * leverOf(keys[0]!, ground, focal, cx, cy)),
  );
  // A way that is mostly doubt, where the set's own motion meets the ground as well,
  // carries a foot astray and gains nothing.
  if (told.way.sd! > 0.5 * told.way.value! && !(miss.set > LEAST_GAIN * miss.way))
    throw new PlatewrightError(
      'PW-TRAVEL-LOOSE',
      `the ground moves as the set does, within ${(miss.set / scale).toFixed(1)} px, ` +
        `and the camera's way over it (${told.way.value!.toFixed(2)} ± ${told.way.sd!.toFixed(2)}) is too unsure ` +
        'to be of use; make the view surer: mark another upright of known height, and ground lines',
    );
  return told;
}

/**
 * How far the ground's own pieces lie from where the set's motion takes them, and from where the way does, px:
 * medians of a frame, their means over the shot. A hand-held camera over grass has its ground for a set; a way
 * fitted to the few pieces that agree with an unsure view then only carries a foot astray (a real clip: .5 px by
 * the set, .6 by a way that took a foot 110 px off).
 */
function groundMiss(
  keys: readonly TravelKey[],
  sights: readonly TravelSight[],
  ground: Ground,
  focal: number,
  cx: number,
  cy: number,
  set: (frame: number) => Mat3,
  pixels: (m: Mat3) => Mat3,
): { set: number; way: number } {
  let bySet = 0;
  let byWay = 0;
  for (const s of sights) {
    const key = keys[s.key]!;
    const plane = movedPlane(ground.n, ground.d, key.pose);
    const p = chain(s.pose, inversePose(key.pose));
    const own = s.matches.filter((m) => key.ground.has(m.patch));
    if (own.length === 0) continue;
    const miss = (h: Mat3): number => {
      const all = own
        .map((m) => {
          const at = key.patches.patches[m.patch]!;
          const q = apply(h, at[0], at[1]);
          return Math.hypot(q[0] - m.x, q[1] - m.y);
        })
        .sort((a, b) => a - b);
      return all[all.length >> 1]!;
    };
    bySet += miss(multiply(set(s.frame), invert(set(key.frame))));
    byWay += miss(pixels(planeHomographyCentred(p, plane.n, plane.d, focal)));
  }
  return { set: bySet / sights.length, way: byWay / sights.length };
}

/**
 * By what share the way is wrong for each radian that the ground's tilt is: a point seen at an angle
 * α under the horizon is δ / α nearer or farther.
 */
function leverOf(key: TravelKey, ground: Ground, focal: number, cx: number, cy: number): number {
  let sum = 0;
  let n = 0;
  for (const p of key.ground) {
    const at = key.patches.patches[p]!;
    const k = (ground.n[0] * (at[0] - cx) + ground.n[1] * (at[1] - cy)) / focal + ground.n[2];
    if (k > 0.005) {
      sum += 1 / k;
      n++;
    }
  }
  return n === 0 ? 10 : sum / n;
}

/** Two readings of the scale are one within this (ln). */
const ALIKE = 0.05;

/**
 * The scale that brings free poses to camera heights: for each point under the horizon the ratio of the inverse depth
 * it was found at to the one the ground would have there. On the ground all ratios are one; a wall's spread from row to
 * row. The fullest neighbourhood is taken (mean shift with a flat kernel on ln; Fukunaga & Hostetler, IEEE IT 21,
 * 1975); `rival` is the fullest one apart from it.
 */
function groundScale(
  key: TravelKey,
  depths: ReadonlyMap<number, FreePoint>,
  ground: Ground,
  focal: number,
  cx: number,
  cy: number,
): { scale: number; sd: number; count: number; rival: number; ground: Set<number> } {
  const all: { ln: number; sd: number }[] = [];
  for (const [patch, p] of depths) {
    const there = onGround(key, patch, ground, focal, cx, cy);
    const sd = p.sd / p.rho;
    if (there !== null && p.rho > 0 && sd < 0.2) all.push({ ln: Math.log(p.rho / there), sd });
  }
  all.sort((a, b) => a.ln - b.ln);
  const near = (c: number): typeof all => all.filter((p) => Math.abs(p.ln - c) < ALIKE);
  let centre = 0;
  let count = 0;
  for (const p of all) {
    const k = near(p.ln).length;
    if (k > count) {
      count = k;
      centre = p.ln;
    }
  }
  for (let i = 0; i < 10; i++) {
    const list = near(centre);
    let s = 0;
    let sw = 0;
    for (const p of list) {
      const w = 1 / (p.sd * p.sd + 1e-4);
      s += w * p.ln;
      sw += w;
    }
    if (sw > 0) centre = s / sw;
  }
  const mine = near(centre);
  let rival = 0;
  for (const p of all) if (Math.abs(p.ln - centre) > 3 * ALIKE) rival = Math.max(rival, near(p.ln).length);
  const scale = Math.exp(centre);
  const spread = Math.sqrt(mine.reduce((s, p) => s + (p.ln - centre) ** 2, 0) / Math.max(1, mine.length - 1));
  return {
    scale,
    sd: spread / Math.sqrt(Math.max(1, mine.length)),
    count: mine.length,
    rival,
    ground: thoseOnGround(key, depths, ground, focal, cx, cy, scale),
  };
}

/** Inverse depth of the ground where a piece of a key shows; null above the horizon. */
function onGround(key: TravelKey, patch: number, plane: Ground, focal: number, cx: number, cy: number): number | null {
  const at = key.patches.patches[patch]!;
  return meetsGround(at, plane, focal, cx, cy)
    ? ((plane.n[0] * (at[0] - cx) + plane.n[1] * (at[1] - cy)) / focal + plane.n[2]) / plane.d
    : null;
}

function thoseOnGround(
  key: TravelKey,
  depths: ReadonlyMap<number, FreePoint>,
  plane: Ground,
  focal: number,
  cx: number,
  cy: number,
  scale = 1,
): Set<number> {
  const out = new Set<number>();
  for (const [patch, p] of depths) {
    const there = onGround(key, patch, plane, focal, cx, cy);
    if (there === null || !(p.rho > 0)) continue;
    if (Math.abs(Math.log(p.rho / scale / there)) < Math.max(ALIKE, Math.min(2 * ALIKE, 2.5 * (p.sd / p.rho))))
      out.add(patch);
  }
  return out;
}

/** Poses from the ground, then with the points off it; their depths by key. */
function settle(
  keys: TravelKey[],
  sights: TravelSight[],
  ground: Ground,
  focal: number,
  cx: number,
  cy: number,
): Map<number, FreePoint>[] {
  refit(keys, sights, ground, focal, cx, cy);
  return withPointsOffTheGround(keys, sights, ground, focal, cx, cy);
}

/**
 * First poses of the frames of key `k`, from what the key before still sees of them,
 * and which of its pieces lie on the ground.
 */
function carryOn(
  keys: TravelKey[],
  mine: TravelSight[],
  bridges: readonly TravelSight[],
  depths: readonly ReadonlyMap<number, FreePoint>[],
  ground: Ground,
  focal: number,
  cx: number,
  cy: number,
  k: number,
): void {
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
        ? onGround(before, m.patch, plane, focal, cx, cy)
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
  const free = freeDepths(key, mine, focal, cx, cy);
  for (const p of thoseOnGround(key, free, movedPlane(ground.n, ground.d, key.pose), focal, cx, cy)) key.ground.add(p);
}

function groundFit(
  key: TravelKey,
  matches: TravelSight['matches'],
  plane: Ground,
  focal: number,
  cx: number,
  cy: number,
  start: Pose,
): PoseFit | null {
  const { points, seen } = groundPoints(key, matches, plane, focal, cx, cy);
  return seen.length < 2 * 8 ? null : fitPose(points, seen, focal, start);
}

/** All poses anew for a ground, in order, so that keys have theirs before what hangs on them. */
function refit(keys: TravelKey[], sights: TravelSight[], ground: Ground, focal: number, cx: number, cy: number): void {
  for (const s of sights) {
    const key = keys[s.key]!;
    const plane = movedPlane(ground.n, ground.d, key.pose);
    const fit = groundFit(key, s.matches, plane, focal, cx, cy, chain(s.pose, inversePose(key.pose)));
    if (fit !== null) {
      s.fit = fit;
      s.pose = chain(fit.pose, key.pose);
    }
    for (const k of keys) if (k.frame === s.frame) k.pose = s.pose;
  }
}

export function poseAt(sights: readonly TravelSight[], frame: number): Pose {
  return sights.find((s) => s.frame === frame)?.pose ?? AT_HOME;
}

function answer(
  sights: readonly TravelSight[],
  ground: Ground,
  focalPx: number,
  atFrame: number,
  firstFrame: number,
  view: View,
  request: TravelRequest,
  scale: number,
  scaleSd: number,
): Travel {
  const home = poseAt(sights, atFrame);
  const fromHome = inversePose(home);
  const here = movedPlane(ground.n, ground.d, home);
  // All so far in camera heights of the view's frame.
  const inMetres = view.cameraHeight.value;
  const k = (inMetres ?? 1) / here.d;
  const all = [
    { frame: firstFrame, pose: AT_HOME as Pose, support: 1 },
    ...sights.map((s) => ({
      frame: s.frame,
      pose: s.pose,
      support: s.fit === null ? 0 : s.fit.agreeing / Math.max(1, s.fit.weights.length),
    })),
  ];
  const frames = all.map(({ frame, pose, support }) => {
    const p = chain(pose, fromHome);
    return { frame, rotation: p.r, translation: [k * p.t[0], k * p.t[1], k * p.t[2]] as const, support };
  });
  // Where the camera stands, seen from home: −Rᵀ t.
  const ways = frames.map((f) => Math.hypot(...f.translation));
  const farthest = ways.indexOf(Math.max(...ways));
  const way = ways[farthest]!;
  const fit = sights.find((s) => s.frame === frames[farthest]!.frame)?.fit ?? sights[0]!.fit!;
  const c = fit.covariance;
  const own = c === null ? way : k * Math.sqrt(c[21]! + c[28]! + c[35]!);
  const cov = view.covariance;
  const relative = Math.sqrt(scaleSd * scaleSd + (inMetres === null ? 0 : (cov[15] ?? 0)) + (cov[0] ?? 0) * 0.25);
  const sd = Math.hypot(own, way * relative);
  const residuals = sights.flatMap((s) => (s.fit === null ? [] : [s.fit.residualPx / scale])).sort((a, b) => a - b);
  const residualPx = residuals[residuals.length >> 1] ?? 0;
  if (sd > 0.5 * way && way > 0.3 * k)
    throw new PlatewrightError(
      'PW-TRAVEL-LOOSE',
      `the camera travels, but its way (${way.toFixed(2)} ` +
        `± ${sd.toFixed(2)} ${inMetres === null ? 'camera heights' : 'm'}) is too unsure to be of use; ` +
        'make the view surer: mark another upright of known height, and ground lines',
    );
  return {
    atFrame,
    unit: inMetres === null ? 'camera heights' : 'm',
    focalPx,
    groundNormal: here.n,
    height: k * here.d,
    frames,
    residualPx,
    way: measured(
      way,
      inMetres === null ? 'ratio' : 'm',
      sd,
      'from points of the ground followed over the shot, ' +
        `which the view lays ${(k * here.d).toFixed(2)} ${inMetres === null ? 'camera heights' : 'm'} under the ` +
        'camera',
      [request.span.in, request.span.out - 1],
      inMetres === null ? { wouldHelp: 'a length known in the picture (an upright with its height) gives metres' } : {},
    ),
  };
}
