/**
 * The key light from a white ball (table tennis, 40 mm) on the card's spot. Its place and size are known from the
 * card's pose, so nothing is searched: ball, the shadow that it throws on the card, and the print round it are drawn as
 * the camera would see them for every direction of the light and fitted to the picture in linear light. On the ball,
 * Lambert's key and an ambient that changes with height (sky above, bounce from the paper below: first spherical
 * harmonics, Ramamoorthi & Hanrahan, JOSA A 2001):
 *     I = a + b · (n · up) + k · max(0, n · l)
 * Levels are linear, the direction by Gauss-Newton (variable projection, Golub & Pereyra 1973), with
 * a Huber loss. Works in soft light too, where a peg throws no shadow. Azimuth relative to the
 * camera: 0 from behind it, positive from its right.
 */
import { BALL_DIAMETER_MM, PEG_SPOT } from '../../brief/card-layout.js';
import { DEG_PER_RAD } from '../../core/angles.js';
import { groundCamera } from '../../geometry/camera.js';
import { applyVector } from '../../geometry/mat3.js';
import type { Picture } from '../../image/picture.js';
import type { ShadingLight } from '../../plate/light/light-answer.js';
import { cardToGround, type AlignedCard, type CardPose } from './card-pose.js';
import { COARSE_RADIUS_PX, FINE_RADIUS_PX, prepare, type Vec } from './card-ball-scene.js';
import { type Fit, direction, evaluate } from './ball-shading.js';
import { DIRECTION_FLOOR_DEG, directionSd, solve } from './ball-solve.js';

/** The card's own bounce is part of the ambient; colours are those on the white ball. */
export interface BallLight extends ShadingLight {
  /** Outline in pixels: centre, half axes, and the turn of the first in degrees. */
  readonly ellipse: readonly [number, number, number, number, number];
  /** Linear RGB of key and of ambient. */
  readonly keyRgb: readonly [number, number, number];
  readonly fillRgb: readonly [number, number, number];
}

/** Outline of the ball on the spot under a pose; null where a part lies behind the camera. */
function ballEllipse(
  pose: CardPose,
  widthPx: number,
  heightPx: number,
): [number, number, number, number, number] | null {
  const camera = groundCamera({
    focalPx: pose.focalPx,
    tiltDeg: pose.tiltDeg,
    rollDeg: pose.rollDeg,
    cameraHeight: pose.cameraHeight,
    widthPx,
    heightPx,
  });
  const R = BALL_DIAMETER_MM / 2000;
  const spot = cardToGround(pose.card, PEG_SPOT[0], PEG_SPOT[1]);
  const c = applyVector(camera.worldToCamera, [
    spot[0] - camera.position[0],
    R - camera.position[1],
    spot[1] - camera.position[2],
  ]);
  const distance = Math.hypot(c[0], c[1], c[2]);
  const off = Math.hypot(c[0], c[1]);
  const alpha = Math.asin(Math.min(1, R / distance));
  const theta = Math.atan2(off, c[2]);
  if (!(c[2] > R) || theta + alpha >= Math.PI / 2) return null;
  const near = pose.focalPx * Math.tan(theta - alpha);
  const far = pose.focalPx * Math.tan(theta + alpha);
  const angle = Math.atan2(c[1], c[0]);
  const middle = (near + far) / 2;
  return [
    widthPx / 2 + middle * Math.cos(angle),
    heightPx / 2 + middle * Math.sin(angle),
    (far - near) / 2,
    (pose.focalPx * Math.sin(alpha)) / Math.sqrt(Math.cos(alpha) ** 2 - Math.sin(theta) ** 2),
    angle * DEG_PER_RAD,
  ];
}

/** Least half axis, pixels, from which shading can be read. */
const LEAST_RADIUS_PX = 5;

/** Pegs and bare paper stay below 0.3 of a fit; balls are above 0.9 in made scenes. */
const LEAST_EXPLAINED = 0.7;

/** Light on the ball, or why there is none to be read. `linear` is scene-linear RGB. */
export function readBall(linear: Picture, card: AlignedCard): { ball: BallLight } | { reason: string } {
  const ellipse = ballEllipse(card.pose, linear.width, linear.height);
  if (ellipse === null || Math.min(ellipse[2], ellipse[3]) < LEAST_RADIUS_PX)
    return { reason: 'the spot is too small in the picture for a ball to be read' };
  const coarse = prepare(linear, card, ellipse, COARSE_RADIUS_PX);
  const fine = prepare(linear, card, ellipse, FINE_RADIUS_PX);
  if (coarse === null || fine === null) return { reason: 'the spot lies outside the picture' };
  const none = { reason: 'no ball lies on the spot' };
  const starts: { l: Vec; fit: Fit }[] = [];
  for (const el of [18, 42, 68])
    for (let k = 0; k < 16; k++) {
      const l = direction((k * 360) / 16 - 180, el);
      const fit = evaluate(coarse, 0, l, null, 1);
      if (fit !== null) starts.push({ l, fit });
    }
  if (starts.length === 0) return none;
  starts.sort((p, q) => p.fit.cost - q.fit.cost);
  // Far from a ball: no direction explains anything.
  if (starts[0]!.fit.explained < 0.4) return none;
  let best: { l: Vec; fit: Fit } | null = null;
  for (const s of starts.slice(0, 3)) {
    const r = solve(coarse, s.l, Math.max(0.002, s.fit.mad), 8);
    if (r !== null && (best === null || r.fit.mad < best.fit.mad)) best = r;
  }
  if (best === null) return none;
  best = solve(fine, best.l, Math.max(0.004, best.fit.mad), 12);
  if (best === null) return none;
  const { l, fit } = best;
  if (fit.explained < LEAST_EXPLAINED) return none;
  const key = fit.linear[6]!;
  const ambient = fit.linear[4]! + fit.linear[5]! * l[1];
  const sd = directionSd(fine, l, fit);
  if (!(key > 0.05 * Math.max(1e-4, ambient)) || sd === null || sd > 0.5)
    return { reason: 'what lies on the spot shows no key: no ball, or light from all sides' };
  const rgb = [1, 2, 3].map((channel) => evaluate(fine, channel, l, fit.residual, Math.max(0.002, fit.mad)) ?? fit);
  const keyRgb = rgb.map((f) => Math.max(0, f.linear[6]!)) as [number, number, number];
  const fillRgb = rgb.map((f) => Math.max(0, f.linear[4]! + f.linear[5]! * l[1])) as [number, number, number];
  const safe = Math.max(1e-3 * key, ambient);
  return {
    ball: {
      azimuthDeg: Math.atan2(l[0], -l[2]) * DEG_PER_RAD,
      elevationDeg: Math.asin(Math.max(-1, Math.min(1, l[1]))) * DEG_PER_RAD,
      directionSd: Math.hypot(sd * DEG_PER_RAD, DIRECTION_FLOOR_DEG),
      keyFillStops: Math.log2((key + safe) / safe),
      keyFillSd: Math.min(3, 0.25 + (2 * fit.mad) / safe),
      explained: fit.explained,
      keyRgb,
      fillRgb,
      ellipse,
    },
  };
}
