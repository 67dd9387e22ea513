/** Marks of heads and of what hands hold, from the bodies the scenes draw. */
import { project, type Camera } from './camera.js';
import { handCamera, wristAt } from './home.js';
import { handBob } from './indoor-shots.js';
import { ofPerson } from './people.js';
import type { Take } from './takes.js';
import { add, turnY, type Point, type Vec3 } from './vector.js';
import { type Mark, hullOf, poly, round } from './mark-shapes.js';

/** Frame of the conductor's pick in which his bare face, between cap and collar, shows the light best. */
export const FACE_FRAME = 22;

/**
 * What of the conductor stands between the sun and his shoulder, in his own frame:
 * height and half size of cap, head and collar.
 */
const HEAD_PARTS: readonly (readonly [y: number, wide: number, tall: number])[] = [
  [1.83, 0.23, 0.108],
  [1.66, 0.15, 0.13],
  [1.5, 0.16, 0.14],
];

/**
 * Outline of the shadow of his head on an upright card at `at` that faces the camera; it leaves to the side
 * while the card is nearer to the sun than he is.
 */
export function headShade(man: { readonly position: Vec3; readonly yaw: number }, at: Vec3, sun: Vec3): Vec3[] {
  const parts = HEAD_PARTS.map(([y, wide, tall]) => {
    const p = ofPerson(man, [0, y, 0]);
    const k = (p[2] - at[2]) / sun[2];
    return { x: p[0] - k * sun[0] + 4 * Math.min(0, k), y: p[1] - k * sun[1], wide, tall };
  });
  return hullOf(parts, at[2]);
}

/**
 * Outline of the hand that holds the ticket, with it, as drawn by eye on one frame of its pick: the shadow falls behind
 * it.
 */
export const HELD_FRAME = 6;
const HELD: readonly Point[] = [
  [150, 484],
  [153, 457],
  [186, 445],
  [186, 418],
  [202, 408],
  [205, 368],
  [221, 313],
  [244, 270],
  [284, 225],
  [302, 220],
  [332, 228],
  [558, 243],
  [554, 345],
  [500, 342],
  [394, 340],
  [392, 382],
  [367, 412],
  [316, 440],
  [292, 460],
  [296, 484],
];

export function heldAt(c: Camera, f: number, drawn: number): [number, number][] {
  const there: Vec3 = [-0.05, 0.24, -0.12];
  const a = project(c, add(there, handBob(drawn)));
  const b = project(c, add(there, handBob(f)));
  return poly(HELD.map(([x, y]): Point => [x + b[0] - a[0], y + b[1] - a[1]]));
}

/** Head of the performer as an upright ellipse in the picture. */
export function headOf(t: Take, f: number): { centre: Point; rx: number; ry: number } {
  const at = turnY([0, 0.385, -0.014], t.yaw(f));
  const d = Math.hypot(t.camera.position[0] - at[0], t.camera.position[1] - at[1], t.camera.position[2] - at[2]);
  const k = t.camera.focalPx / d;
  return { centre: project(t.camera, at), rx: Math.round(k * 0.112 * 10) / 10, ry: Math.round(k * 0.1 * 10) / 10 };
}

/** Marks of the hand take: where the wrist is when it pinches. */
export function handMarks(): { frame: number; focalPx: number; marks: Mark[] } {
  const w = wristAt(24);
  return {
    frame: 24,
    focalPx: handCamera.focalPx,
    marks: [
      {
        kind: 'performer',
        frame: 24,
        ground: round(project(handCamera, add(w, [-0.05, -0.07, 0]))),
        top: round(project(handCamera, add(w, [-0.05, 0.06, 0]))),
        height: 0.13,
      },
    ],
  };
}
