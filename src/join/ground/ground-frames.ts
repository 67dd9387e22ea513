/**
 * The ground under the performer on every frame of the shot: where its foot stands, how many pixels a metre is there,
 * how the camera looks at it and from where the key comes beside the camera's heading.
 */
import { worldToCamera } from '../../geometry/camera.js';
import { applyVector, dot, unit, type Vec3 } from '../../geometry/mat3.js';
import type { PlateMeasures } from '../../plate/types.js';
import type { BodyProposal } from '../body/body-proposal.js';
import { viewAngles } from '../proposal-input.js';
import type { Place } from '../ride/travel-stand.js';
import type { AxisFrom } from '../ride/turning-fit.js';
import type { GroundFrame } from './types.js';

/** How the camera looks at a level ground, px and degrees. */
interface View {
  readonly focalPx: number;
  readonly tiltDeg: number;
  readonly rollDeg: number;
}

/** What is taken where the view was not measured: a camera that looks down a little. */
const UNKNOWN_VIEW = { tiltDeg: -5, rollDeg: 0, panDeg: 0 } as const;

export interface FramesFrom {
  readonly where: Place;
  /** Where the foot has gone from its place on a plate frame, px; null where it stays. */
  readonly walked: ((n: number) => readonly [number, number]) | null;
  /** Where the axis of a carrier who turns stands from the performer; null where it is not known. */
  readonly axisFrom: ((n: number) => AxisFrom) | null;
  /** The caster's depth, where the take told it. */
  readonly body: BodyProposal | null;
  /** Height of what was marked from ground to top, metres. */
  readonly height: number;
  readonly focalPx: number;
  /** The key's azimuth beside the camera's heading on the frame `reference`, degrees. */
  readonly azimuthDeg: number;
  readonly reference: number;
}

/** Ground under the performer on each frame of the measured span. */
export function groundFrames(pm: PlateMeasures, from: FramesFrom): GroundFrame[] {
  const frames: GroundFrame[] = [];
  for (let n = pm.span.in; n < pm.span.out; n++) frames.push(groundFrame(pm, n, from));
  return frames;
}

function groundFrame(pm: PlateMeasures, frame: number, from: FramesFrom): GroundFrame {
  const { focalPx, body, axisFrom } = from,
    view = viewAngles(pm, frame) ?? { focalPx, ...UNKNOWN_VIEW },
    reference = viewAngles(pm, from.reference) ?? view;
  return {
    frame,
    ...standingOn(pm, { ...view, focalPx }, frame, from),
    tiltDeg: view.tiltDeg,
    rollDeg: view.rollDeg,
    azimuthDeg: from.azimuthDeg + (view.panDeg - reference.panDeg),
    ...(axisFrom === null ? {} : { carrierAxis: rounded(axisFrom(frame)) }),
    ...(body?.ofFrame === undefined ? {} : { body: body.ofFrame(frame) }),
    ...(body?.at === undefined ? {} : { bodyAt: Math.round(1000 * body.at(frame)) / 1000 }),
  };
}

/** The foot and the scale there: at its place, or where it has walked to on the same ground. */
function standingOn(
  pm: PlateMeasures,
  view: View,
  frame: number,
  { where, walked, height }: FramesFrom,
): { foot: [number, number]; pxPerMetre: number } {
  const { ground, top } = where(frame),
    pxPerMetre = scaleOfUpright(ground, top, height, view, pm.widthPx, pm.heightPx),
    gone = walked?.(frame) ?? null;
  if (gone === null) return { foot: ground, pxPerMetre };
  const to: [number, number] = [ground[0] + gone[0], ground[1] + gone[1]];
  return onSameGround(ground, pxPerMetre, to, view, pm.widthPx, pm.heightPx);
}

const rounded = (from: AxisFrom): [number, number, number] =>
  from.map((v) => Math.round(1000 * v) / 1000) as [number, number, number];

/**
 * The ground under another point of the picture, on the level plane through `ground`: both lie as far under the camera.
 * Where the sight there hardly falls, the place stays.
 */
export function onSameGround(
  ground: readonly [number, number],
  pxPerMetre: number,
  to: readonly [number, number],
  view: View,
  widthPx: number,
  heightPx: number,
): { foot: [number, number]; pxPerMetre: number } {
  const up = unit(applyVector(worldToCamera(0, view.tiltDeg, view.rollDeg), [0, 1, 0]));
  const ray = (p: readonly [number, number]): Vec3 => [
    (p[0] - widthPx / 2) / view.focalPx,
    (p[1] - heightPx / 2) / view.focalPx,
    1,
  ];
  // Both lie at the camera's height under it: depth goes against how steeply the sight falls.
  const here = dot(up, ray(ground)),
    there = dot(up, ray(to));
  if (!(here < -1e-3) || !(there < 0.2 * here)) return { foot: [ground[0], ground[1]], pxPerMetre };
  return { foot: [to[0], to[1]], pxPerMetre: (pxPerMetre * there) / here };
}

/** Plate pixels per metre across the line of sight where an upright of `height` metres shows from ground to top. */
export function scaleOfUpright(
  ground: readonly [number, number],
  top: readonly [number, number],
  height: number,
  view: View,
  widthPx: number,
  heightPx: number,
): number {
  const up = unit(applyVector(worldToCamera(0, view.tiltDeg, view.rollDeg), [0, 1, 0]));
  const seen = Math.hypot(top[0] - ground[0], top[1] - ground[1]);
  let z = (view.focalPx * height) / Math.max(1, seen);
  for (let k = 0; k < 12; k++) {
    const f: Vec3 = [
      ((ground[0] - widthPx / 2) / view.focalPx) * z,
      ((ground[1] - heightPx / 2) / view.focalPx) * z,
      z,
    ];
    const t: Vec3 = [f[0] + up[0] * height, f[1] + up[1] * height, f[2] + up[2] * height];
    if (!(t[2] > 0.01)) break;
    const u = widthPx / 2 + (view.focalPx * t[0]) / t[2],
      v = heightPx / 2 + (view.focalPx * t[1]) / t[2];
    const now = Math.hypot(u - ground[0], v - ground[1]);
    z *= now / Math.max(1, seen);
  }
  return view.focalPx / z;
}
