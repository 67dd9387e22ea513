/**
 * Where a camera that travels stands on each frame, in metres, from the ground it moves over. The view says how the ground lies
 * before the camera at one frame and how high the camera is over it; points of that ground are found again in every frame, and
 * the motion of a known plane gives rotation and translation with their scale (the plane's homography is K (R + t nᵀ/d) K⁻¹:
 * O. Faugeras & F. Lustman, Int. J. Pattern Recognition and AI 2(3), 1988; Hartley & Zisserman, 2004, chapter 13; as the plane
 * is known beforehand, the decomposition's ambiguity does not arise). How the plane lies is then refined together with the
 * poses, held by the view's own uncertainty; last, points off the ground join with depths of their own (travel-points.ts).
 */
import { measured } from '../core/measure.js';
import { PlatewrightError } from '../core/errors.js';
import { worldToCamera } from '../geometry/camera.js';
import { levenbergMarquardt } from '../geometry/levenberg-marquardt.js';
import { applyVector, invert, multiply, type Mat3, type Vec3 } from '../geometry/mat3.js';
import { rotationFromVector, vectorFromRotation } from '../geometry/rotation.js';
import { matchPatches, patchesOf } from './camera-follow.js';
import { allocatePyramid, fillPyramid } from './ride-pyramid.js';
import { lumaAt, type LumaSource } from './ride-source.js';
import { AT_HOME, chain, fitPose, inversePose, movedPlane, planeHomographyCentred, type Pose, type PoseFit } from './travel-pose.js';
import { groundPoints, meetsGround, type Ground, type TravelKey, type TravelSight } from './travel-ground.js';
import { withPointsOffTheGround } from './travel-points.js';
import type { CameraMove, Travel, View } from './types.js';

export interface TravelRequest {
  readonly view: View;
  /** The set's measured motion over the same frames: where to look first. */
  readonly camera: CameraMove;
  readonly span: { readonly in: number; readonly out: number };
  readonly signal?: AbortSignal;
}

/** Fewer points of the ground than this tell no camera. */
const LEAST_POINTS = 14;
/** A key is left when fewer than this share of its ground points are found. */
const REKEY = 0.5;

/**
 * @throws `PW-TRAVEL-VIEW` without focal length or tilt, `PW-TRAVEL-GROUND` where too little of the ground is seen to move,
 * `PW-TRAVEL-LOOSE` where the answer would be worth nothing
 */
export async function measureTravel(source: LumaSource, request: TravelRequest): Promise<Travel> {
  const { view, camera, span } = request;
  const f0 = view.focalPx.value, tilt = view.tiltDeg.value;
  if (f0 === null || tilt === null) throw new PlatewrightError('PW-TRAVEL-VIEW', 'how the camera looks at the ground is not known, so its way over it can\'t be had; mark an upright of known height and a pair of ground lines');
  const { widthPx: w, heightPx: h } = source;
  const scale = w / view.widthPx;
  let focal = f0 * scale;
  const cx = w / 2, cy = h / 2;
  const up = applyVector(worldToCamera(0, tilt, view.rollDeg.value ?? 0), [0, 1, 0]);
  const viewGround: Ground = { n: [-up[0], -up[1], -up[2]], d: 1 };
  // The set's turn between the view's frame and the first is not known yet: begun as if there were none, mended after the first pass.
  let ground: Ground = viewGround;
  const viewFrame = Math.min(span.out - 1, Math.max(span.in, view.frame));

  const pyramid = allocatePyramid(w, h, 1), scratch = new Float32Array(w * h);
  const keys: TravelKey[] = [], sights: TravelSight[] = [];
  const addKey = (frame: number, pose: Pose): void => { keys.push({ frame, pose, patches: patchesOf(pyramid[0]!, 24, 16) }); };
  fillPyramid(await lumaAt(source, span.in), pyramid, scratch);
  addKey(span.in, AT_HOME);
  const setAt = new Map(camera.frames.map((c) => [c.frame, invert(c.homographyToFirst)]));
  const small: Mat3 = [scale, 0, 0, 0, scale, 0, 0, 0, 1];
  const toPixels = (m: Mat3): Mat3 => multiply([1, 0, cx, 0, 1, cy, 0, 0, 1], multiply(m, [1, 0, -cx, 0, 1, -cy, 0, 0, 1]));
  let last = AT_HOME, before = AT_HOME, found = 0;
  for await (const frame of source.frames(span.in + 1, span.out)) {
    request.signal?.throwIfAborted();
    fillPyramid(frame.luma, pyramid, scratch);
    const ki = keys.length - 1, key = keys[ki]!;
    const plane = movedPlane(ground.n, ground.d, key.pose), back = inversePose(key.pose);
    const step = chain(last, inversePose(before));
    const set = multiply(small, multiply(multiply(setAt.get(frame.index) ?? invert(small), invert(setAt.get(key.frame) ?? [1, 0, 0, 0, 1, 0, 0, 0, 1])), invert(small)));
    const guesses: { pose: Pose; of: (p: number) => Mat3 }[] = [chain(step, last), last].map((pose) => {
      const onGround = toPixels(planeHomographyCentred(chain(pose, back), plane.n, plane.d, focal));
      return { pose, of: (p: number) => (meetsGround(key.patches.patches[p]!, plane, focal, cx, cy) ? onGround : set) };
    });
    let best: { fit: PoseFit; matches: TravelSight['matches'] } | null = null;
    for (const g of [...guesses, { pose: last, of: () => set }]) {
      const matches = matchPatches(key.patches, pyramid[0]!, set, g.of);
      const fit = groundFit(key, matches, plane, focal, cx, cy, chain(g.pose, back));
      if (fit !== null && (best === null || fit.agreeing > best.fit.agreeing)) best = { fit, matches };
      // As good as the frame before: no other guess is needed.
      if (best !== null && best.fit.agreeing > 0.8 * found && found > 0) break;
    }
    const pose = best === null ? last : chain(best.fit.pose, key.pose);
    sights.push({ frame: frame.index, key: ki, matches: best?.matches ?? [], pose, fit: best?.fit ?? null });
    before = best === null ? last : sights.length > 1 ? sights[sights.length - 2]!.pose : AT_HOME;
    last = pose;
    found = Math.max(best?.fit.agreeing ?? 0, found * 0.97);
    const onKey = key.patches.patches.filter((p) => meetsGround(p, plane, focal, cx, cy)).length;
    if (best !== null && best.fit.agreeing < REKEY * onKey && best.fit.agreeing < 0.7 * found && keys.length < 24) { addKey(frame.index, pose); found = 0; }
  }
  const usable = sights.filter((s) => s.fit !== null && s.fit.agreeing >= LEAST_POINTS);
  if (usable.length < 0.8 * sights.length || sights.length === 0) {
    throw new PlatewrightError('PW-TRAVEL-GROUND', `the camera travels, but too little of the ground can be followed to say how (${usable.length} of ${sights.length} frames hold ${LEAST_POINTS} points of it or more): a plain floor tells nothing, and people hide it; check the view, or mark ground lines where the floor has a pattern`);
  }
  // The ground as the first frame's camera sees it, from the view's frame back.
  const resolve = (): void => {
    for (let round = 0; round < 3; round++) {
      const at = poseAt(sights, viewFrame);
      const n = applyVector(inversePose(at).r, viewGround.n);
      ground = { n, d: 1 };
      const v = movedPlane(ground.n, 1, at);
      // Heights are counted in the camera's height at the view's frame: the first frame's own follows from the poses.
      ground = { n, d: 1 / Math.max(0.2, v.d) };
      refit(keys, sights, ground, focal, cx, cy);
    }
  };
  if (viewFrame !== span.in) resolve();
  else refit(keys, sights, ground, focal, cx, cy);
  const bent = bendGround(keys, sights, ground, focal, cx, cy, view);
  focal = bent.focalPx; ground = bent.ground;
  refit(keys, sights, ground, focal, cx, cy);
  withPointsOffTheGround(keys, sights, ground, focal, cx, cy);
  return answer(sights, ground, focal / scale, viewFrame, span.in, view, request, scale);
}

function groundFit(key: TravelKey, matches: TravelSight['matches'], plane: Ground, focal: number, cx: number, cy: number, start: Pose): PoseFit | null {
  const { points, seen } = groundPoints(key, matches, plane, focal, cx, cy);
  return seen.length < 2 * 8 ? null : fitPose(points, seen, focal, start);
}

/** All poses anew for a ground, in order, so that keys have theirs before what hangs on them. */
function refit(keys: TravelKey[], sights: TravelSight[], ground: Ground, focal: number, cx: number, cy: number): void {
  for (const s of sights) {
    const key = keys[s.key]!;
    const plane = movedPlane(ground.n, ground.d, key.pose);
    const fit = groundFit(key, s.matches, plane, focal, cx, cy, chain(s.pose, inversePose(key.pose)));
    if (fit !== null) { s.fit = fit; s.pose = chain(fit.pose, key.pose); }
    for (const k of keys) if (k.frame === s.frame) k.pose = s.pose;
  }
}

export function poseAt(sights: readonly TravelSight[], frame: number): Pose {
  return sights.find((s) => s.frame === frame)?.pose ?? AT_HOME;
}

/**
 * How the ground lies before the first camera and the focal length, refined with the poses of up to seven frames of the first
 * key, held by the view's own covariance: what the picture can't tell stays where the view has it.
 */
function bendGround(keys: readonly TravelKey[], sights: readonly TravelSight[], ground: Ground, focal: number, cx: number, cy: number, view: View): { ground: Ground; focalPx: number } {
  const own = sights.filter((s) => s.key === 0 && s.fit !== null && s.fit.agreeing >= LEAST_POINTS);
  if (own.length < 4) return { ground, focalPx: focal };
  const used = Array.from({ length: Math.min(7, own.length) }, (_, i, ) => own[Math.round(((i + 1) * (own.length - 1)) / Math.min(7, own.length))]!);
  const sets = used.map((s) => {
    const all = groundPoints(keys[0]!, s.matches, ground, focal, cx, cy);
    const keep = [...all.patch.keys()].filter((i) => s.fit!.weights[i]! > 0.5);
    return { at: keep.map((i) => keys[0]!.patches.patches[all.patch[i]!]!), seen: keep.map((i) => [all.seen[2 * i]!, all.seen[2 * i + 1]!] as const), sd: Math.max(0.08, s.fit!.residualPx) };
  });
  const c = view.covariance;
  const sds = [Math.sqrt(c[0] ?? 1e-2), Math.sqrt(c[5] ?? 1e-3), Math.sqrt(c[10] ?? 1e-3)].map((v) => Math.max(1e-4, v));
  const start = [0, 0, 0, ...used.flatMap((s) => [...vectorFromRotation(s.pose.r), ...s.pose.t])];
  const count = sets.reduce((k, s) => k + 2 * s.at.length, 0) + 3;
  const lay = (p: ArrayLike<number>): { n: Vec3; f: number } => ({ n: applyVector(rotationFromVector([p[1]!, 0, p[2]!]), ground.n), f: focal * Math.exp(p[0]!) });
  const r = levenbergMarquardt({
    start, residualCount: count + (count % 2), blockSize: 2, loss: { kind: 'cauchy', scale: 3 }, maxIterations: 25,
    residuals: (p, out) => {
      const { n, f } = lay(p);
      let o = 0;
      sets.forEach((s, k) => {
        const q = 3 + 6 * k, rot = rotationFromVector([p[q]!, p[q + 1]!, p[q + 2]!]);
        s.at.forEach((a, i) => {
          const x = (a[0] - cx) / f, y = (a[1] - cy) / f, z = ground.d / (n[0] * x + n[1] * y + n[2]);
          const v = applyVector(rot, [x * z, y * z, z]);
          out[o++] = ((f * (v[0] + p[q + 3]!)) / (v[2] + p[q + 5]!) - s.seen[i]![0]) / s.sd;
          out[o++] = ((f * (v[1] + p[q + 4]!)) / (v[2] + p[q + 5]!) - s.seen[i]![1]) / s.sd;
        });
      });
      for (let k = 0; k < 3; k++) out[o++] = p[k]! / sds[k]!;
      if (o < out.length) out[o] = 0;
    },
  });
  const { n, f } = lay(r.parameters);
  // Far beyond what the view allows, the points are of something else than the ground.
  const far = Math.max(...[0, 1, 2].map((k) => Math.abs(r.parameters[k]!) / sds[k]!));
  return !Number.isFinite(r.cost) || far > 3 ? { ground, focalPx: focal } : { ground: { n, d: ground.d }, focalPx: f };
}

function answer(sights: readonly TravelSight[], ground: Ground, focalPx: number, atFrame: number, firstFrame: number, view: View, request: TravelRequest, scale: number): Travel {
  const home = poseAt(sights, atFrame), fromHome = inversePose(home);
  const here = movedPlane(ground.n, ground.d, home);
  // All so far in camera heights of the view's frame.
  const inMetres = view.cameraHeight.value, k = (inMetres ?? 1) / here.d;
  const all = [{ frame: firstFrame, pose: AT_HOME as Pose, support: 1 }, ...sights.map((s) => ({ frame: s.frame, pose: s.pose, support: s.fit === null ? 0 : s.fit.agreeing / Math.max(1, s.fit.weights.length) }))];
  const frames = all.map(({ frame, pose, support }) => {
    const p = chain(pose, fromHome);
    return { frame, rotation: p.r, translation: [k * p.t[0], k * p.t[1], k * p.t[2]] as const, support };
  });
  // Where the camera stands, seen from home: −Rᵀ t.
  const ways = frames.map((f) => Math.hypot(...f.translation));
  const farthest = ways.indexOf(Math.max(...ways)), way = ways[farthest]!;
  const fit = sights.find((s) => s.frame === frames[farthest]!.frame)?.fit ?? sights[0]!.fit!;
  const c = fit.covariance;
  const own = c === null ? way : k * Math.sqrt(c[21]! + c[28]! + c[35]!);
  // The ground's lie feeds into the way in proportion: a tilt wrong by δ moves a ground point at depth z by about z δ / height.
  const cov = view.covariance;
  const relative = Math.sqrt((inMetres === null ? 0 : (cov[15] ?? 0)) + (cov[0] ?? 0) * 0.25 + (cov[5] ?? 0) * 4);
  const sd = Math.hypot(own, way * relative);
  const residuals = sights.flatMap((s) => (s.fit === null ? [] : [s.fit.residualPx / scale])).sort((a, b) => a - b);
  const residualPx = residuals[residuals.length >> 1] ?? 0;
  if (sd > 0.5 * way && way > 0.3 * k) throw new PlatewrightError('PW-TRAVEL-LOOSE', `the camera travels, but its way (${way.toFixed(2)} ± ${sd.toFixed(2)} ${inMetres === null ? 'camera heights' : 'm'}) is too unsure to be of use; make the view surer: mark another upright of known height, and ground lines`);
  return {
    atFrame, unit: inMetres === null ? 'camera heights' : 'm', focalPx, groundNormal: here.n, height: k * here.d, frames, residualPx,
    way: measured(way, inMetres === null ? 'ratio' : 'm', sd, `from points of the ground followed over the shot, which the view lays ${(k * here.d).toFixed(2)} ${inMetres === null ? 'camera heights' : 'm'} under the camera`, [request.span.in, request.span.out - 1], inMetres === null ? { wouldHelp: 'a length known in the picture (an upright with its height) gives metres' } : {}),
  };
}
