/** Shot "railing": a hand-held push past a railing. */
import { aim, sunFrom, type Camera } from './camera.js';
import { BRICK, IRON, paint } from './materials.js';
import { wander } from './random.js';
import { BOLLARD_HEIGHT, bollard, gutter, lamp, stopPost, tub } from './set.js';
import type { Shot } from './shot.js';
import { ease, lerp, n, type Vec3 } from './vector.js';
import { groundLines, px, standing, street } from './street-shots.js';

// --- A railing passes in front. ---
const railingCamera = (f: number): Camera => {
  const t = f / 24;
  return aim(
    [lerp(-0.46, 0.42, ease(f / 55)) + 0.006 * wander(31, t), 0.95 + 0.005 * wander(32, t), lerp(-3.35, -2.95, f / 55)],
    lerp(4.6, -4.2, ease(f / 55)) + 0.14 * wander(33, t),
    -4.6 + 0.13 * wander(34, t),
    1060,
    0.16 * wander(35, t),
  );
};
const railingSun = sunFrom(aim([0, 0.95, -3.2], 0, 0, 1060), 32, 42);
const RAILING_Z = -0.55;
const RAILING_POST_X = 0.03;
/** Outline boxes of the railing's parts near the performer: two rails and one post, as quads at their near face. */
const RAILING_PARTS: Readonly<Record<string, readonly Vec3[]>> = {
  post: [
    [RAILING_POST_X - 0.035, 1.06, RAILING_Z - 0.035],
    [RAILING_POST_X + 0.035, 1.06, RAILING_Z - 0.035],
    [RAILING_POST_X + 0.035, 0, RAILING_Z - 0.035],
    [RAILING_POST_X - 0.035, 0, RAILING_Z - 0.035],
  ],
  rail: [
    [-1.1, 0.23, RAILING_Z],
    [1.1, 0.23, RAILING_Z],
    [1.1, 0.19, RAILING_Z],
    [-1.1, 0.19, RAILING_Z],
  ],
};
/**
 * The square post as it is seen: from the side of one face to the side of the other, whichever shows. Corners
 * left top, right top, right bottom, left bottom.
 */
function bothFaces(
  near: readonly (readonly [number, number])[],
  far: readonly (readonly [number, number])[],
): (readonly [number, number])[] {
  return near.map((p, i) => [i === 0 || i === 3 ? Math.min(p[0], far[i]![0]) : Math.max(p[0], far[i]![0]), p[1]]);
}
const BOLLARDS: readonly [Vec3, Vec3] = [
  [1.15, 0, 1.5],
  [-1.1, 0, 2.5],
];
function railing(): string {
  const posts = [-2.9, -1.45, 0, 1.45, 2.9]
    .map((x) => {
      const at = x + RAILING_POST_X;
      return (
        `box{<${n(at - 0.035)},0,${n(RAILING_Z - 0.035)}>,<${n(at + 0.035)},0.98,${n(RAILING_Z + 0.035)}> ${IRON}} ` +
        `sphere{<${n(at)},1.02,${n(RAILING_Z)}>,0.055 ${paint('0.42,0.07,0.05', 'specular 0.4 roughness 0.04')}}`
      );
    })
    .join(' ');
  return (
    posts +
    [0.21, 0.93].map((y) => `cylinder{<-6,${y},${n(RAILING_Z)}>,<6,${y},${n(RAILING_Z)}>,0.02 ${IRON}}`).join(' ') +
    '\n'
  );
}
const RAIL_POST: Vec3 = [1.35, 0, 3.2];
export const railingShot: Shot = {
  id: 'railing',
  what:
    'hand-held push past a railing; its post and rail pass in front of the performer, ' +
    'who sits behind it on the ground',
  frames: 56,
  how: 'whole',
  exposure: 0.6,
  camera: railingCamera,
  sun: railingSun,
  set: street(
    railingSun,
    railing() +
      gutter(-0.75, -3, 4.6) +
      gutter(0.85, -3, 4.6) +
      bollard(BOLLARDS[0][0], BOLLARDS[0][2]) +
      bollard(BOLLARDS[1][0], BOLLARDS[1][2]) +
      stopPost(RAIL_POST[0], RAIL_POST[2]) +
      lamp(-1.9, 4.0) +
      tub(-1.3, 3.4, 12) +
      `box{<-8,0,4.6>,<8,0.75,4.9> ${BRICK}} box{<-8,0.75,4.55>,<8,0.83,4.95> ${paint('0.4,0.36,0.32')}}`,
    41,
  ),
  cast: () => '',
  reach: () => [],
  truth: (f) => ({
    bollards: BOLLARDS.map((b) => standing(railingCamera(f), b, BOLLARD_HEIGHT, railingSun)),
    groundLines: groundLines(railingCamera(f), [-0.75, 0.85], 0.6, 4.4),
    front: Object.fromEntries(
      Object.entries(RAILING_PARTS).map(([k, q]) => [
        k,
        k === 'post'
          ? bothFaces(
              px(railingCamera(f), q),
              px(
                railingCamera(f),
                q.map((c): Vec3 => [c[0], c[1], c[2] + 0.07]),
              ),
            )
          : px(railingCamera(f), q),
      ]),
    ),
  }),
};
