// The shots at the stop: the tram comes, platform, conductor, pan along the stop, railing, and the hill at the end.
import { aim, project, sunFrom, type Camera } from './camera.js';
import { BRICK, glow, paint, wood } from './materials.js';
import {
  CHEST_PATCH,
  CONDUCTOR_HEIGHT,
  conductor,
  ofPerson,
  PASSENGER_HEIGHT,
  passenger,
  SHOULDER_BOARD,
  SHOULDER_SEAT,
  type PersonPose,
} from './people.js';
import { wander } from './random.js';
import {
  bench,
  ground,
  gutter,
  HAZE,
  hill,
  houses,
  kerb,
  lamp,
  lights,
  POST_HEIGHT,
  SKY,
  stopPost,
  track,
  tub,
} from './set.js';
import { reachOf, type Shot } from './shot.js';
import { BOARD, tram } from './tram.js';
import { add, ease, lerp, n, type Vec3 } from './vector.js';

const FILL = 0.62;
export const street = (sun: Vec3, more: string, seed = 5): string =>
  SKY + HAZE + lights(sun, FILL) + ground() + kerb(5.2, 6.3) + track(8) + houses(13, -19, 13, seed) + hill() + more;

export const px = (c: Camera, points: readonly Vec3[]): (readonly [number, number])[] =>
  points.map((p) => project(c, p));

/** What is known of a standing person in one frame. */
export function standing(c: Camera, at: Vec3, height: number, sun: Vec3): Record<string, unknown> {
  const top = add(at, [0, height, 0]);
  const t = height / sun[1];
  const tip: Vec3 = [top[0] - sun[0] * t, 0, top[2] - sun[2] * t];
  return { position: at, height, foot: project(c, at), top: project(c, top), shadowTip: project(c, tip) };
}

/** Middle lines of gutters along z, each as two pixels, near end first. */
export const groundLines = (
  c: Camera,
  xs: readonly number[],
  z0: number,
  z1: number,
): (readonly (readonly [number, number])[])[] =>
  xs.map((x) =>
    px(c, [
      [x, 0, z0],
      [x, 0, z1],
    ]),
  );

// --- The tram comes in, and its board wants a poster. ---
const arriveCamera = aim([-0.6, 1.35, -1.2], 9, 1.2, 830);
const arriveSun = sunFrom(arriveCamera, 38, 33);
const ARRIVE_POST: Vec3 = [-1.2, 0, 4.9];
const tramAt = (f: number): number => 1.2 + 3.4 * (1 - ease(0.5 + 0.5 * Math.min(1, f / 44))) * 2;
export const arrive: Shot = {
  id: 'arrive',
  what: 'the last tram comes in and stops; its advertisement board is to carry the poster; locked off',
  frames: 60,
  how: 'still',
  exposure: 0.6,
  camera: () => arriveCamera,
  sun: arriveSun,
  set: street(
    arriveSun,
    lamp(-3.2, 4.6) +
      tub(-2.1, 4.6, 4) +
      stopPost(ARRIVE_POST[0], ARRIVE_POST[2]) +
      gutter(-0.9, 0, 5.2) +
      gutter(2.4, 0, 5.2),
  ),
  cast: (f) => tram(tramAt(f), 8, -tramAt(f)),
  reach: (f) => [-5, 5].flatMap((dx) => reachOf([tramAt(f) + dx, 0, 8], 1.25, 4.3, arriveSun)),
  truth: (f) => ({
    flat: {
      board: px(
        arriveCamera,
        BOARD.map((b) => add(b, [tramAt(f), 0.02, 8])),
      ),
    },
    tramX: tramAt(f),
    post: standing(arriveCamera, ARRIVE_POST, POST_HEIGHT, arriveSun),
    groundLines: groundLines(arriveCamera, [-0.9, 2.4], 3.2, 5.1),
  }),
};

// --- Platform: hard sun, a post and a passenger of known height. ---
const platformCamera = aim([0, 1.15, -4.2], 1.5, -5.5, 1100);
const platformSun = sunFrom(platformCamera, 50, 34);
const waiting = (f: number): PersonPose => ({
  position: [1.2, 0, 1.4],
  yaw: 22,
  headYaw: -8 + 34 * ease((f - 14) / 16) - 10 * ease((f - 36) / 10),
  headPitch: -3 * ease((f - 14) / 16) + 0.6 * wander(3, f / 24),
});
const POST_AT: Vec3 = [0.25, 0, 4];
export const platform: Shot = {
  id: 'platform',
  what: 'sunlit platform: hard ground shadows of the stop post and of a waiting passenger of known height; locked off',
  frames: 52,
  how: 'still',
  exposure: 0.6,
  camera: () => platformCamera,
  sun: platformSun,
  set: street(
    platformSun,
    gutter(-1.5, -4, 5.2) +
      gutter(2.15, -4, 5.2) +
      stopPost(POST_AT[0], POST_AT[2]) +
      tram(4.6, 8, 0.5) +
      lamp(-2.7, 5) +
      tub(2.75, 4.4, 3),
  ),
  cast: (f) => passenger(waiting(f)),
  reach: () => reachOf([1.2, 0, 1.4], 0.36, 1.78, platformSun),
  truth: () => ({
    passenger: standing(platformCamera, [1.2, 0, 1.4], PASSENGER_HEIGHT, platformSun),
    post: standing(platformCamera, POST_AT, POST_HEIGHT, platformSun),
    groundLines: groundLines(platformCamera, [-1.5, 2.15], 1.6, 5.1),
  }),
};

// --- The conductor turns about. ---
const conductorCamera = aim([0.1, 1.5, -2.6], 0, 0.4, 1400);
const conductorSun = sunFrom(conductorCamera, -42, 30);
export const CONDUCTOR_TURN = { from: -45, to: 75, first: 8, last: 52 } as const;
export const conductorYaw = (f: number): number =>
  lerp(
    CONDUCTOR_TURN.from,
    CONDUCTOR_TURN.to,
    ease((f - CONDUCTOR_TURN.first) / (CONDUCTOR_TURN.last - CONDUCTOR_TURN.first)),
  );
/**
 * Two edges of the standing tram: the end of its side, and the far edge of its third window bay; both from sill to
 * gutter.
 */
const TRAM_EDGES = [-3.9, 3.9]
  .slice(0, 1)
  .concat([-0.02])
  .map((x) => ({ foot: [2.2 + x, 0.47, 5.55] as Vec3, top: [2.2 + x, 2.44, 5.55] as Vec3 }));
export const conductorPose = (f: number): PersonPose => ({
  position: [-0.08, 0, 1.7],
  yaw: conductorYaw(f),
  headYaw: -4 * wander(8, f / 24),
  headPitch: 1.5 * wander(9, f / 24),
  armLift: 0.15,
});
export const conductorShot: Shot = {
  id: 'conductor',
  what: 'the conductor turns about through 120 degrees; the performer is to ride on his shoulder; locked off',
  frames: 60,
  how: 'still',
  exposure: 0.6,
  camera: () => conductorCamera,
  sun: conductorSun,
  set: street(conductorSun, tram(2.2, 6.6, 0.2) + lamp(-1.75, 4.2), 11),
  cast: (f) => conductor(conductorPose(f)),
  reach: (f) => reachOf(conductorPose(f).position, 0.46, 1.92, conductorSun),
  truth: (f) => {
    const p = conductorPose(f);
    const seat = ofPerson(p, SHOULDER_SEAT);
    return {
      yawDeg: p.yaw,
      uprights: TRAM_EDGES.map((e) => ({
        foot: project(conductorCamera, e.foot),
        top: project(conductorCamera, e.top),
        height: 1.97,
      })),
      flat: {
        chest: px(
          conductorCamera,
          CHEST_PATCH.map((q) => ofPerson(p, q)),
        ),
        shoulderBoard: px(
          conductorCamera,
          SHOULDER_BOARD.map((q) => ofPerson(p, q)),
        ),
      },
      seat: { position: seat, pixel: project(conductorCamera, seat) },
      conductor: {
        position: p.position,
        height: CONDUCTOR_HEIGHT,
        chest: project(conductorCamera, ofPerson(p, [0, 1.3, -0.2])),
        top: project(conductorCamera, add(p.position, [0, CONDUCTOR_HEIGHT, 0])),
      },
    };
  },
};

// --- A pan along the stop; the pacing passenger is to be erased. ---
const panCamera = (f: number): Camera => aim([0, 1.45, -3.6], lerp(-10, 10, ease((f + 3) / 54)), -3.4, 980);
const panSun = sunFrom(aim([0, 1.45, -3.6], 0, 0, 980), 36, 38);
const pacing = (f: number): PersonPose => ({
  position: [lerp(0.95, -0.75, f / 47), 0, 2.3],
  yaw: 84,
  headYaw: -12,
  stride: f / 26,
});
function shelter(x: number, z: number): string {
  const plank = wood('0.13,0.19,0.2', '0.19,0.27,0.27', 0.05);
  const boards = Array.from(
    { length: 15 },
    (_, i) => `box{<${n(-1.65 + i * 0.22)},0.3,0>,<${n(-1.445 + i * 0.22)},1.15,0.04> ${plank}}`,
  ).join(' ');
  const posts = [-1.68, 1.68]
    .map(
      (p) =>
        `box{<${p - 0.04},0,-0.02>,<${p + 0.04},2.3,0.06> ${paint('0.5,0.44,0.34')}} ` +
        `box{<${p - 0.04},0,-1.1>,<${p + 0.04},2.25,-1.02> ${paint('0.5,0.44,0.34')}}`,
    )
    .join(' ');
  const scallops = Array.from(
    { length: 12 },
    (_, i) =>
      'cylinder{<0,0,-1.22>,<0,0,-1.19>,0.15 ' +
      `translate <${n(-1.65 + 0.3 * i)},2.26,0> ${paint(i % 2 ? '0.62,0.54,0.4' : '0.4,0.06,0.045')}}`,
  ).join(' ');
  return (
    `union{ ${boards} ${posts} ${scallops} box{<-1.8,2.28,-1.2>,<1.8,2.4,0.12> ${paint('0.4,0.06,0.045')}}` +
    ` box{<-1.72,1.15,-0.01>,<1.72,1.22,0.05> ${paint('0.5,0.44,0.34')}} ` +
    `box{<-0.75,1.85,-0.03>,<0.75,2.15,0.02> ${paint('0.05,0.07,0.18')}} ` +
    'text{ttf "timrom.ttf" "HARROW HILL",0.02,0 scale 0.185 ' +
    `translate <-0.67,1.94,-0.05> ${glow('0.9,0.74,0.46', 0.8)}}` +
    ` box{<-1.35,0.5,-0.025>,<-0.8,1.1,0> ${paint('0.7,0.62,0.48')}} text{ttf "timrom.ttf" "LOST: ` +
    `one glove",0.01,0 scale 0.07 translate <-1.31,0.95,-0.04> ${paint('0.1,0.06,0.05')}} ` +
    `translate <${n(x)},0,${n(z)}> }\n`
  );
}
const PAN_POST: Vec3 = [2.75, 0, 3.6];
export const pan: Shot = {
  id: 'pan',
  what:
    'the tripod camera turns 18 degrees along the stop; a waiting passenger paces and is to be erased; ' +
    'the performer stands by the bench',
  frames: 48,
  how: 'pan',
  exposure: 0.6,
  camera: panCamera,
  sun: panSun,
  set: street(
    panSun,
    gutter(-1.9, -3, 5.2) +
      gutter(2.1, -3, 5.2) +
      shelter(-0.5, 4.4) +
      bench(-0.35, 4.05) +
      stopPost(PAN_POST[0], PAN_POST[2]) +
      lamp(-3.3, 3.8) +
      tub(1.75, 3.9, 8) +
      `box{<3.4,0,6.0>,<7.5,1.5,6.3> ${BRICK}} box{<3.35,1.5,5.97>,<7.55,1.58,6.33> ${paint('0.4,0.36,0.32')}}` +
      `union{ box{<-0.55,0,-0.4>,<0.55,0.62,0.4> ${wood('0.34,0.19,0.09', '0.26,0.13,0.06', 0.05)}} ` +
      `box{<-0.4,0.62,-0.3>,<0.3,1.02,0.3> ${paint('0.36,0.14,0.07')}} rotate y*14 translate <4.3,0,5.2> }`,
    23,
  ),
  cast: (f) => passenger(pacing(f), 'plum'),
  reach: (f) => reachOf(pacing(f).position, 0.4, 1.78, panSun),
  truth: (f) => ({
    passenger: { yawDeg: pacing(f).yaw, ...standing(panCamera(f), pacing(f).position, PASSENGER_HEIGHT, panSun) },
    post: standing(panCamera(f), PAN_POST, POST_HEIGHT, panSun),
    groundLines: groundLines(panCamera(f), [-1.9, 2.1], 2.2, 5.1),
  }),
};
