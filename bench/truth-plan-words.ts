/**
 * What the truth set's files say of themselves: conventions, and the performers and cameras that its plans draw from.
 */
import { aim, type Camera } from '../demo/scenes/camera.js';
import { add, DEG, n, v, type Vec3 } from '../demo/scenes/vector.js';
import { makeCreature, type Creature } from './exam-creature.js';
import type { TruthKind } from './truth-set.js';
import { H, W } from './truth-furniture.js';
import type { TruthPlan } from './truth-plan.js';

export const CONVENTIONS =
  'camera frame x right, y down, z forward; world x right, y up, z away (left-handed); ' +
  'sunInCamera is the unit vector towards the sun in the camera frame; ' +
  'degrees, metres, pixels from the top-left corner; sun.azimuthDeg relative to the camera heading: ' +
  '0 = from straight behind the camera, positive from camera right; sun.elevationDeg above the horizontal; ' +
  'tiltDeg negative looks down; headingDeg positive to the right; view: ' +
  'elevation of the camera as seen from the middle of the performer, and distance.';
export const WHAT: Readonly<Record<TruthKind, string>> = {
  stand: 'locked-off camera; the performer stands on the ground before the man',
  turn: 'the man turns on the spot with the performer in his arms; locked-off camera',
  pan: 'camera turns on a tripod; the man walks through and is to be erased; the performer stands by the bench',
  push: 'camera pushes in with a little hand shake; a pole passes before the performer',
};
/** Where the man's chest is, in shares of his height (as in the practice set). */
export const CHEST = 0.647;

export const FRAMES: Readonly<Record<TruthKind, number>> = { stand: 16, turn: 28, pan: 24, push: 20 };
export const REFLECTANCE: Readonly<Record<string, Vec3>> = {
  cobbles: [0.26, 0.23, 0.21],
  flags: [0.42, 0.37, 0.33],
  setts: [0.26, 0.25, 0.25],
  asphalt: [0.16, 0.16, 0.16],
  gravel: [0.4, 0.36, 0.3],
  grass: [0.1, 0.16, 0.04],
  boards: [0.37, 0.25, 0.15],
  plain: [0.42, 0.38, 0.33],
};

/** A creature of one of these kinds, its text scaled to a height. */
export function performerOf(
  seed: number,
  kinds: readonly string[],
  heightM: number,
): { readonly creature: Creature; readonly halfM: number; readonly text: TruthPlan['performer']['text'] } {
  for (let k = 0; ; k++) {
    const creature = makeCreature(seed * 101 + k, seed + k);
    if (!kinds.some((w) => creature.name.includes(w))) continue;
    const scale = heightM / creature.height;
    return {
      creature,
      halfM: creature.half * scale,
      text: (at, yaw, flat) => `union{ ${creature.text([0, 0, 0], yaw, flat)} scale ${n(scale)} translate ${v(at)} }\n`,
    };
  }
}

/** A camera at a place that shows a point of the world in a column and row of the picture. */
export function cameraShowing(position: Vec3, point: Vec3, column: number, row: number, focalPx: number): Camera {
  const d = add(point, [-position[0], -position[1], -position[2]]);
  const flat = Math.hypot(d[0], d[2]);
  return aim(
    position,
    Math.atan2(d[0], d[2]) / DEG - Math.atan((column - W / 2) / focalPx) / DEG,
    Math.atan2(d[1], flat) / DEG + Math.atan((row - H / 2) / focalPx) / DEG,
    focalPx,
    0,
    W,
    H,
  );
}
