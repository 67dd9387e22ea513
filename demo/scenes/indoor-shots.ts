// The close-up of the ticket punch on the counter, and the rain-spotted window of the tram.

import { aim, project, shadowOf, sunFrom, type Camera } from './camera.js';
import { glassOver, REFLECTION_WIDTH, type Pane } from './glass.js';
import { BRASS, cloth, glow, paint, wood } from './materials.js';
import { wander } from './random.js';
import { HAZE, houses, lamp, lights, SKY } from './set.js';
import { GLOBAL, type Shot } from './shot.js';
import { trace } from './trace.js';
import { add, ease, n, v, type Vec3 } from './vector.js';

const GLOVE =
  'texture{pigment{granite scale 0.03 color_map{[0.1 rgb<0.6,0.55,0.47>][0.7 rgb<0.75,0.7,0.62>]}} ' +
  'normal{granite 0.15 scale 0.012} finish{ambient 0 diffuse 0.85}}';
const SLEEVE = cloth('0.03,0.045,0.105', '0.075,0.1,0.19');

/** A chain of capsules. */
function finger(points: readonly Vec3[], radius: number, material: string): string {
  let out = 'union{';
  points.forEach((p, i) => {
    const r = radius * (1 - 0.06 * i);
    out += ` sphere{${v(p)},${n(r)}}`;
    const q = points[i + 1];
    if (q) out += ` cone{${v(p)},${n(r)},${v(q)},${n(radius * (1 - 0.06 * (i + 1)))}}`;
  });
  return `${out} ${material} }\n`;
}

/**
 * A white-gloved right hand with its sleeve, palm down, fingers towards −x, the wrist at the origin; `grip` 0 open to 1
 * closed.
 */
export function glovedHand(grip: number): string {
  const curl = (z: number, len: number): string => {
    const a = 0.25 + 1.1 * grip;
    const k: Vec3 = [-0.088, 0.006, z];
    const m = add(k, [-Math.cos(a * 0.6) * len * 0.5, -Math.sin(a * 0.6) * len * 0.5, 0]);
    const e = add(m, [-Math.cos(a * 1.35) * len * 0.5, -Math.sin(a * 1.35) * len * 0.5, 0]);
    return finger([[-0.04, 0.004, z * 0.8], k, m, e], 0.0115, GLOVE);
  };
  return (
    `union{ sphere{0,1 scale <0.052,0.02,0.043> translate <-0.05,0,0> ${GLOVE}} ` +
    `${curl(-0.032, 0.07)} ${curl(-0.011, 0.08)} ${curl(0.011, 0.076)} ${curl(0.032, 0.06)}` +
    finger(
      [
        [-0.03, -0.002, -0.03],
        [-0.06, -0.012 - 0.006 * grip, -0.056 + 0.012 * grip],
        [-0.095, -0.02 - 0.012 * grip, -0.052 + 0.02 * grip],
      ],
      0.0125,
      GLOVE,
    ) +
    ` cylinder{<-0.012,0,0>,<0.03,0,0>,0.028 ${GLOVE}} torus{0.029,0.006 rotate z*90 translate x*0.0 ${GLOVE}}` +
    ` cone{<0.02,0,0>,0.042,<0.34,0.03,0>,0.06 ${SLEEVE}} ` +
    `torus{0.043,0.006 rotate z*90 translate x*0.045 ${paint('0.5,0.07,0.045')}} ` +
    `sphere{<0.075,0.012,-0.044>,0.011 ${BRASS}} sphere{<0.115,0.014,-0.046>,0.011 ${BRASS}} }\n`
  );
}

/** Brass lines let into the counter along z. */
const INLAY_X: readonly number[] = [-0.22, 0.62];

/** What is known of a small upright thing: foot, top, and where the shadow of its top falls. */
function small(c: Camera, at: Vec3, height: number, sun: Vec3): Record<string, unknown> {
  const top = add(at, [0, height, 0]);
  return {
    position: at,
    height,
    foot: project(c, at),
    top: project(c, top),
    shadowTip: project(c, shadowOf(top, sun, at[1])),
  };
}

// --- The punch: too tight, to be widened to the left. ---
const punchCamera = aim([0.02, 0.34, -0.62], 2, -5, 900);
const punchSun = sunFrom(punchCamera, -55, 44);
const squeeze = (f: number): number =>
  Math.max(ease((f - 10) / 6) * (1 - ease((f - 18) / 7)), ease((f - 27) / 5) * (1 - ease((f - 34) / 6)));
/** How far the hands have wandered. */
export const handBob = (f: number): Vec3 => [0.045 + 0.004 * wander(51, f / 24), 0.004 * wander(52, f / 24), 0];
const hands = (f: number): string => {
  const s = squeeze(f);
  const bob = handBob(f);
  const punch =
    'union{ cylinder{<-0.028,0.012,-0.012>,<-0.028,0.012,0.012>,0.014} ' +
    `box{<-0.075,0.004,-0.008>,<-0.02,0.02,0.008> rotate z*${n(-4 + 9 * s)}} ` +
    `box{<-0.075,-0.022,-0.008>,<-0.02,-0.008,0.008> rotate z*${n(4 - 9 * s)}} ` +
    'cylinder{<-0.07,-0.018,0>,<-0.07,0.016,0>,0.006}' +
    ` finished }\n`.replace('finished', `${BRASS}`);
  const handles = `union{ ${finger(
    [
      [-0.02, 0.016, 0],
      [0.03, 0.034 - 0.016 * s, 0],
      [0.085, 0.03 - 0.018 * s, 0],
    ],
    0.008,
    BRASS,
  )} ${finger(
    [
      [-0.02, -0.006, 0],
      [0.03, -0.03 + 0.014 * s, 0],
      [0.085, -0.03 + 0.014 * s, 0],
    ],
    0.008,
    BRASS,
  )} }\n`;
  const hole =
    f > 14 ? 'sphere{<0.052,0.0015,0.0>,0.0058 texture{pigment{rgb<0.03,0.02,0.02>} finish{ambient 0}}}' : '';
  const ticket =
    'union{ box{<-0.085,-0.0008,-0.04>,<0.07,0.0008,0.04> texture{pigment{granite scale 0.06 ' +
    'color_map{[0.1 rgb<0.66,0.5,0.26>][0.7 rgb<0.78,0.62,0.36>]}} finish{ambient 0 diffuse 0.85}}}' +
    ' text{ttf "timrom.ttf" "HARROW HILL",0.001,0 scale 0.0185 rotate x*90 ' +
    `translate <-0.072,0.0022,0.008> ${paint('0.25,0.03,0.03')}} text{ttf "timrom.ttf" "single  ` +
    `No. 0417",0.001,0 scale 0.0135 rotate x*90 translate <-0.066,0.0022,-0.022> ${paint('0.1,0.06,0.06')}}` +
    ` box{<-0.079,0.0009,-0.035>,<-0.077,0.0012,0.035> ${paint('0.25,0.03,0.03')}} ` +
    `box{<0.034,0.0009,-0.035>,<0.036,0.0012,0.035> ${paint('0.25,0.03,0.03')}} ` +
    `${hole} rotate x*-48 rotate z*-3 translate <-0.005,0.265,-0.105> }\n`;
  return (
    `union{ ${ticket}` +
    // The punching hand comes from the right, the holding hand from below left.
    `union{ object{union{${punch}${handles}} translate <0.132,0,0>} ` +
    `union{ ${glovedHand(0.75 + 0.25 * s)} rotate x*-60 translate <0.275,0.012,0.0> } ` +
    'rotate z*6 translate <0,0.268,-0.105> }\n' +
    `union{ ${glovedHand(0.62)} scale <-1,1,1> rotate x*-75 rotate z*62 rotate y*-14 ` +
    'translate <-0.115,0.172,-0.12> }\n' +
    `translate ${v(bob)} }\n`
  );
};
const COUNTER = wood('0.26,0.11,0.045', '0.38,0.17,0.07', 0.012);
export const punchShot: Shot = {
  id: 'punch',
  what:
    'tight close-up: a gloved hand punches a ticket over the counter; ' +
    'to be widened to the left to make room for the performer',
  frames: 44,
  how: 'still',
  exposure: 0.62,
  camera: () => punchCamera,
  sun: punchSun,
  set:
    lights(punchSun, 0.55, [2.5, 1.75, 1.05]) +
    `box{<-3,-0.1,-0.3>,<3,0,0.95> ${COUNTER}} cylinder{<-3,-0.02,-0.3>,<3,-0.02,-0.3>,0.022 ${BRASS}}\n` +
    Array.from(
      { length: 22 },
      (_, i) =>
        `box{<${n(-2.2 + i * 0.2)},-0.2,1.25>,<${n(-2.015 + i * 0.2)},0.33,1.28> ` +
        `${wood('0.2,0.075,0.035', '0.3,0.12,0.055', 0.02)}}`,
    ).join(' ') +
    `box{<-3,0.33,1.2>,<3,0.37,1.3> ${BRASS}} box{<-3,0.37,1.27>,<3,1.2,1.3> texture{pigment{gradient y ` +
    'scale 0.9 translate y*0.35 color_map{[0 rgb<1.0,0.58,0.26>][0.5 rgb<0.62,0.4,0.42>][1 rgb<0.3,0.28,0.45>]}} ' +
    'finish{ambient 0 diffuse 0 emission 0.6}}}\n' +
    Array.from(
      { length: 6 },
      (_, i) =>
        `box{<${n(-2.04 + i * 0.8)},0.35,1.24>,<${n(-1.98 + i * 0.8)},1.2,1.29> ` +
        `${wood('0.2,0.075,0.035', '0.3,0.12,0.055', 0.02)}}`,
    ).join(' ') +
    INLAY_X.map((x) => `box{<${n(x - 0.006)},-0.01,-0.3>,<${n(x + 0.006)},0.0012,0.95> ${BRASS}}`).join(' ') +
    // A stack of tickets, a bell and an ink pad on the counter.
    'union{ ' +
    Array.from(
      { length: 9 },
      (_, i) =>
        `box{<-0.06,${n(i * 0.004)},-0.035>,<0.06,${n(i * 0.004 + 0.0032)},0.035> ` +
        `rotate y*${n(12 + ((i * 47) % 9))} ${paint(i % 2 ? '0.72,0.56,0.3' : '0.6,0.4,0.32')}}`,
    ).join(' ') +
    ' translate <0.36,0,0.32> }\n' +
    `union{ cylinder{0,<0,0.012,0>,0.06 ${paint('0.05,0.03,0.03')}} ` +
    `sphere{0,1 scale <0.05,0.042,0.05> translate y*0.014 ${BRASS}} ` +
    `cylinder{<0,0.05,0>,<0,0.07,0>,0.006 ${BRASS}} translate <0.2,0,0.55> }\n`,
  cast: hands,
  reach: () => [
    [-0.34, 0.02, -0.15],
    [0.7, 0.02, -0.15],
    [-0.34, 0.36, -0.15],
    [0.7, 0.36, -0.15],
    [-0.3, 0, 0.35],
    [0.72, 0, 0.35],
  ],
  truth: (f) => ({
    squeeze: squeeze(f),
    bell: small(punchCamera, [0.2, 0, 0.55], 0.07, punchSun),
    ticketCentre: project(punchCamera, [0.04, 0.265, -0.105]),
    groundLines: INLAY_X.map((x) => [project(punchCamera, [x, 0, 0.3]), project(punchCamera, [x, 0, 0.94])]),
    wantsCanvas: { left: 214, right: 0, top: 0, bottom: 0 },
  }),
};

// --- The window: rain on the pane, the street reflected in it. ---
const windowCamera = aim([0, 1.62, -1.75], 0, -4.5, 1120);
const windowSun = sunFrom(windowCamera, -48, 22);
/** The pane at z = 0, corners clockwise from top left. */
const PANE: readonly Vec3[] = [
  [-0.56, 1.86, 0],
  [0.56, 1.86, 0],
  [0.56, 1.15, 0],
  [-0.56, 1.15, 0],
];
export const WINDOW_SILL_Y = 1.17;
const JAR: Vec3 = [-0.14, WINDOW_SILL_Y, 0.22];
const JAR_HEIGHT = 0.15;
const LEDGE_X: readonly number[] = [-0.46, 0.46];
const mirrorCamera: Camera = { ...aim([0, 1.62, -1.75], 0, 3, 1120), widthPx: REFLECTION_WIDTH };
export const pane = (): Pane => ({
  corners: PANE.map((p) => project(windowCamera, p)),
  transmittance: 0.82,
  reflectance: 0.2,
  slidePxPerFrame: 3.2,
  seed: 1907,
  drops: 420,
  runners: 12,
});
export const windowShot: Shot = {
  id: 'window',
  what:
    'the tram window in the rain: drops, running drops and a sliding reflection of the street over the lit inside; ' +
    'the performer sits behind the glass',
  frames: 48,
  how: 'painted',
  exposure: 0.7,
  camera: () => windowCamera,
  sun: windowSun,
  set:
    lights(windowSun, 0.5, [1.7, 1.2, 0.75]) +
    // The tram's side round the pane.
    'difference{ box{<-3,0.4,-0.02>,<3,3,0.05>} box{<-0.56,1.15,-1>,<0.56,1.86,1>} ' +
    'texture{pigment{gradient y scale 4 ' +
    'color_map{[0 rgb<0.36,0.035,0.03>][0.262 rgb<0.36,0.035,0.03>][0.262 rgb<0.72,0.63,0.44>][1 ' +
    'rgb<0.72,0.63,0.44>]}} finish{ambient 0 diffuse 0.82 specular 0.2 roughness 0.06}} }\n' +
    'difference{ box{<-0.6,1.11,-0.035>,<0.6,1.9,0.02>} box{<-0.56,1.15,-1>,<0.56,1.86,1>} ' +
    `${wood('0.2,0.08,0.035', '0.3,0.13,0.06', 0.02)} } box{<-3,1.03,-0.03>,<3,1.055,0> ${BRASS}}\n` +
    // Inside: the ledge, the far wall with its windows, a seat, a lamp.
    `box{<-1.4,1.1,0.06>,<1.4,${WINDOW_SILL_Y},0.7> ${wood('0.3,0.13,0.055', '0.42,0.19,0.08', 0.02)}}\n` +
    // A jam jar with a flower, in the sun that comes through the pane.
    `union{ cylinder{<0,0,0>,<0,0.085,0>,0.034 ${paint('0.55,0.6,0.62', 'specular 0.6 roughness 0.02')}} ` +
    `torus{0.032,0.005 translate y*0.085 ${BRASS}} ` +
    `cylinder{<0,0.08,0>,<0,0.125,0>,0.004 ${paint('0.1,0.2,0.07')}} ` +
    `sphere{<0,0.128,0>,0.022 ${paint('0.8,0.42,0.08')}} translate ${v(JAR)} }\n` +
    LEDGE_X.map(
      (x) => `box{<${n(x - 0.006)},${WINDOW_SILL_Y},0.06>,<${n(x + 0.006)},${n(WINDOW_SILL_Y + 0.001)},0.7> ${BRASS}}`,
    ).join(' ') +
    `box{<-2,0.5,1.9>,<2,1.45,1.95> ${wood('0.24,0.09,0.04', '0.34,0.14,0.065', 0.03)}} ` +
    `box{<-2,1.45,1.92>,<2,2.5,1.95> ${paint('0.5,0.4,0.24')}}\n` +
    [-0.95, 0.05, 1.05]
      .map(
        (x) =>
          `box{<${n(x - 0.38)},1.52,1.9>,<${n(x + 0.38)},2.15,1.93> ${glow('0.2,0.2,0.34', 0.75)}} ` +
          `box{<${n(x - 0.42)},1.48,1.91>,<${n(x + 0.42)},2.19,1.94> ` +
          `${wood('0.2,0.08,0.035', '0.3,0.13,0.06', 0.02)}}`,
      )
      .join(' ') +
    `box{<-1.0,0.6,1.3>,<-0.25,1.42,1.5> ${cloth('0.2,0.03,0.035', '0.33,0.06,0.06')}} ` +
    `box{<0.4,0.6,1.3>,<1.15,1.42,1.5> ${cloth('0.2,0.03,0.035', '0.33,0.06,0.06')}} ` +
    `cylinder{<-1.0,1.42,1.4>,<-0.25,1.42,1.4>,0.1 ${cloth('0.2,0.03,0.035', '0.33,0.06,0.06')}} ` +
    `cylinder{<0.4,1.42,1.4>,<1.15,1.42,1.4>,0.1 ${cloth('0.2,0.03,0.035', '0.33,0.06,0.06')}}\n` +
    `union{ sphere{<0,0,0>,0.075 ${glow('1.0,0.78,0.42', 1.7)}} ` +
    `cone{<0,0.03,0>,0.13,<0,0.11,0>,0.05 open ${BRASS}} cylinder{<0,0.1,0>,<0,0.8,0>,0.01 ${BRASS}} ` +
    'translate <0.4,1.83,1.2> }\n' +
    'light_source{<0.4,1.75,1.0> rgb<1.5,0.9,0.42> fade_distance 0.9 fade_power 2 shadowless}\n',
  cast: () => '',
  reach: () => [],
  paint: async (f, o) => {
    const inside = await trace(
      GLOBAL + windowShot.set,
      windowCamera,
      { x: 0, y: 0, w: windowCamera.widthPx, h: windowCamera.heightPx },
      o,
    );
    const street = await trace(
      GLOBAL +
        SKY +
        HAZE +
        lights(windowSun, 0.6) +
        houses(9, -22, 14, 71) +
        lamp(-2.2, 4.2) +
        lamp(1.4, 4.6) +
        lamp(4.2, 4.2) +
        lamp(-4.6, 4.4),
      mirrorCamera,
      { x: 0, y: 0, w: mirrorCamera.widthPx, h: mirrorCamera.heightPx },
      { ...o, scale: 1 },
    );
    return glassOver(inside, street, f, pane());
  },
  truth: (f) => ({
    pane: pane(),
    reflectionOffsetPx: f * pane().slidePxPerFrame,
    jar: small(windowCamera, JAR, JAR_HEIGHT, windowSun),
    uprights: [0, 1].map((i) => ({
      foot: project(windowCamera, PANE[3 - i] ?? [0, 0, 0]),
      top: project(windowCamera, PANE[i] ?? [0, 0, 0]),
      height: 0.71,
    })),
    groundLines: LEDGE_X.map((x) => [
      project(windowCamera, [x, WINDOW_SILL_Y, 0.2]),
      project(windowCamera, [x, WINDOW_SILL_Y, 0.68]),
    ]),
    ledge: project(windowCamera, [0, WINDOW_SILL_Y, 0.4]),
  }),
};
