// The shots at the stop: the tram comes, platform, conductor, pan along the stop, railing, and the hill at the end.

import { aim, project, sunFrom, type Camera } from './camera.js';
import { BRICK, glow, IRON, paint, wood } from './materials.js';
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
  BOLLARD_HEIGHT,
  bollard,
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
const street = (sun: Vec3, more: string, seed = 5): string =>
  SKY + HAZE + lights(sun, FILL) + ground() + kerb(5.2, 6.3) + track(8) + houses(13, -19, 13, seed) + hill() + more;

const px = (c: Camera, points: readonly Vec3[]): (readonly [number, number])[] => points.map((p) => project(c, p));

/** What is known of a standing person in one frame. */
export function standing(c: Camera, at: Vec3, height: number, sun: Vec3): Record<string, unknown> {
  const top = add(at, [0, height, 0]);
  const t = height / sun[1];
  const tip: Vec3 = [top[0] - sun[0] * t, 0, top[2] - sun[2] * t];
  return { position: at, height, foot: project(c, at), top: project(c, top), shadowTip: project(c, tip) };
}

/** Middle lines of gutters along z, each as two pixels, near end first. */
const groundLines = (
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
 * Two edges of the standing tram: the end of its side, and the far edge of its third
 * window bay; both from sill to gutter.
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
export const RAILING_Z = -0.55;
export const RAILING_POST_X = 0.03;
/** Outline boxes of the railing's parts near the performer: two rails and one post, as quads at their near face. */
export const RAILING_PARTS: Readonly<Record<string, readonly Vec3[]>> = {
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

// --- Harrow Hill, the end. ---
const hillCamera = aim([0, 1.6, -2], 2, 4.2, 900);
const hillSun = sunFrom(hillCamera, -118, 11);
const climb = (f: number): Vec3 => {
  const u = f / 60;
  return [lerp(12.5, 6.5, u), (6.3 * (24 - lerp(12.5, 6.5, u))) / 28, 41];
};
const smallTram = (f: number): string => {
  const at = climb(f);
  const panes = [0, 1, 2, 3]
    .map(
      (i) => `box{<${n(-0.95 + i * 0.5)},0.62,-0.5>,<${n(-0.58 + i * 0.5)},1.0,-0.45> ${glow('1.0,0.66,0.26', 1.6)}}`,
    )
    .join(' ');
  return (
    `union{ box{<-1.2,0.1,-0.45>,<1.2,1.2,0.45> ${paint('0.36,0.035,0.03')}} ` +
    `box{<-1.25,1.2,-0.5>,<1.25,1.32,0.5> ${paint('0.5,0.44,0.36')}} ` +
    `${panes} sphere{<-1.3,0.45,0>,0.16 ${glow('1.0,0.85,0.55', 2.5)}} ` +
    `rotate z*-12.7 translate <${n(at[0])},${n(at[1])},${n(at[2])}> }\n`
  );
};
export const hillShot: Shot = {
  id: 'hill',
  what: 'Harrow Hill at dusk: the tram climbs to the lit cottages; locked off',
  frames: 64,
  how: 'still',
  exposure: 0.75,
  camera: () => hillCamera,
  sun: hillSun,
  set:
    `sky_sphere{ pigment{ gradient y color_map{[0 rgb<0.95,0.42,0.22>][0.08 rgb<0.7,0.32,0.3>][0.2 rgb<0.3,0.22,0.36>][0.42 rgb<0.1,0.12,0.27>][1 rgb<0.04,0.06,0.16>]} }
    pigment{ bozo turbulence 0.5 scale <0.6,0.07,0.6> translate 0.37 color_map{[0.5 rgbt<1,0.6,0.45,1>][0.75 rgbt<1,0.5,0.36,0.55>][1 rgbt<1,0.55,0.4,0.35>]} } }\n` +
    lights(hillSun, 0.42, [1.3, 0.62, 0.3]) +
    'fog{fog_type 2 fog_offset 8 fog_alt 8 distance 120 rgb<0.5,0.27,0.25>}\n' +
    hill() +
    `plane{y,-0.02 ${paint('0.1,0.12,0.05')}}\n` +
    houses(24, -24, 7, 61) +
    // The embankment that the line climbs.
    'prism{linear_sweep 40.2,41.8,5,<24,0>,<24,-0.2>,<-4,6.3>,<-4,0>,<24,0> rotate x*-90 ' +
    `scale <1,1,-1> ${paint('0.12,0.11,0.06')}}\n` +
    `sphere{<-22,27,120>,2.6 ${glow('1.0,0.9,0.72', 1.15)}}\n` +
    Array.from(
      { length: 44 },
      (_, i) =>
        `sphere{<${n(-75 + ((i * 37.7) % 150))},${n(24 + ((i * 17.3) % 36))},130>,${n(0.07 + 0.05 * (i % 3))} ` +
        `${glow('1,0.95,0.85', 0.9)}}`,
    ).join(' ') +
    lamp(2.05, 6.2, 3.0) +
    `union{ box{<-1.15,1.55,0>,<1.15,2.15,0.06> ${paint('0.05,0.07,0.18')}} ` +
    `box{<-1.22,1.48,0.02>,<1.22,2.22,0.07> ${paint('0.7,0.62,0.48')}} ` +
    `box{<-1.0,0,0.02>,<-0.92,1.5,0.1> ${IRON}} box{<0.92,0,0.02>,<1.0,1.5,0.1> ${IRON}}` +
    ' text{ttf "timrom.ttf" "HARROW HILL",0.03,0 scale 0.31 ' +
    `translate <-1.03,1.74,-0.03> ${glow('0.85,0.76,0.58', 0.8)}} rotate y*-6 translate <-1.75,0,6.4> }\n` +
    'light_source{<2.05,3.3,6.0> rgb<1.3,0.8,0.38> fade_distance 2.2 fade_power 2 shadowless}\n',
  cast: smallTram,
  reach: (f) => {
    const a = climb(f);
    return [add(a, [-2, -1, -1]), add(a, [2, 2.4, 1])];
  },
  truth: (f) => ({ tram: project(hillCamera, add(climb(f), [0, 0.6, 0])) }),
};
