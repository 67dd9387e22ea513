/** The way of a travelling camera in the view's own units, with its uncertainty, from the poses that were found. */
import { measured } from '../../core/measure.js';
import { PlatewrightError } from '../../core/errors.js';
import { AT_HOME, chain, inversePose, movedPlane, type Pose } from './travel-pose.js';
import type { Ground, TravelSight } from './travel-ground.js';
import type { CameraMove, Travel, View } from '../types.js';
import { poseAt } from './travel-settle.js';

export interface TravelRequest {
  readonly view: View;
  /** The set's measured motion over the same frames: where to look first. */
  readonly camera: CameraMove;
  readonly span: { readonly in: number; readonly out: number };
  readonly signal?: AbortSignal;
}

/** What the answer is made from. */
export interface FoundWay {
  readonly sights: readonly TravelSight[];
  readonly ground: Ground;
  /** Focal length in the plate's pixels. */
  readonly focalPx: number;
  /** The view's frame, from which all is counted, and the first frame. */
  readonly atFrame: number;
  readonly firstFrame: number;
  readonly view: View;
  readonly request: TravelRequest;
  /** Pixels of the small picture to one of the plate. */
  readonly scale: number;
  /** Relative. */
  readonly scaleSd: number;
}

/**
 * The way in metres where the view tells the camera's height, else in camera heights; the pose of each frame, and how
 * far the camera gets, with its sd. Throws `PW-TRAVEL-LOOSE`.
 */
export function travelAnswer({
  sights,
  ground,
  focalPx,
  atFrame,
  firstFrame,
  view,
  request,
  scale,
  scaleSd,
}: FoundWay): Travel {
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
