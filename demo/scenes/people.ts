// The cast in cloth: the conductor and the waiting passengers, built as puppets. Own frame: y up, facing −z.

import { BRASS, cloth, paint } from './materials.js';
import { add, n, turnY, v, type Vec3 } from './vector.js';

export const CONDUCTOR_HEIGHT = 1.875;
export const PASSENGER_HEIGHT = 1.73;
/**
 * The conductor's left shoulder board (his own left, +x): corners in his frame, clockwise from its top left as seen
 * from the front.
 */
export const SHOULDER_BOARD: readonly Vec3[] = [
  [0.125, 1.545, -0.07],
  [0.31, 1.5, -0.07],
  [0.31, 1.5, 0.06],
  [0.125, 1.545, 0.06],
];
/**
 * A patch on the front left of his coat that stays in sight while he turns: corners
 * clockwise from its top left as seen from the front.
 */
export const CHEST_PATCH: readonly Vec3[] = [
  [0.1579, 1.42, -0.1508],
  [-0.0165, 1.42, -0.2025],
  [-0.0166, 1.12, -0.2042],
  [0.1593, 1.12, -0.1521],
];
/** Where the rabbit sits on the shoulder board. */
export const SHOULDER_SEAT: Vec3 = [0.235, 1.505, 0.0];

const FLESH = paint('0.62,0.36,0.25');
const BLACK = paint('0.012,0.01,0.012', 'specular 0.6 roughness 0.02');
const DARK = paint('0.03,0.028,0.035');

export interface PersonPose {
  readonly position: Vec3;
  readonly yaw: number;
  readonly headYaw?: number;
  readonly headPitch?: number;
  /** Walk phase in turns; absent = stands. */
  readonly stride?: number;
  readonly armLift?: number;
}

function limb(a: Vec3, b: Vec3, ra: number, rb: number, material: string): string {
  return (
    `union{ cone{${v(a)},${n(ra)},${v(b)},${n(rb)}} sphere{${v(a)},${n(ra)}} sphere{${v(b)},${n(rb)}} ` +
    `${material} }\n`
  );
}

function face(brow: string): string {
  const eye = (s: number): string =>
    `sphere{<${n(s * 0.046)},0.03,-0.113>,0.017 ${paint('0.85,0.82,0.76')}} ` +
    `sphere{<${n(s * 0.045)},0.03,-0.124>,0.0098 ${BLACK}}` +
    `sphere{0,1 scale <0.034,0.009,0.012> rotate z*${s * -10} translate <${n(s * 0.05)},0.063,-0.114> ${brow}}` +
    `sphere{0,1 scale <0.032,0.026,0.014> translate <${n(s * 0.075)},-0.018,-0.098> ${paint('0.72,0.27,0.2')}}` +
    `sphere{0,1 scale <0.018,0.034,0.026> translate <${n(s * 0.125)},0.01,0> ${FLESH}}\n`;
  return (
    `sphere{0,1 scale <0.122,0.142,0.125> ${FLESH}} ${eye(-1)} ${eye(1)} sphere{0,1 scale <0.029,0.029,0.034> ` +
    `translate <0,0.0,-0.137> ${paint('0.68,0.3,0.21')}}\n`
  );
}

/** The moustached conductor in his greatcoat and cap. */
export function conductor(p: PersonPose): string {
  const coat = cloth('0.03,0.045,0.105', '0.075,0.1,0.19');
  const trim = paint('0.5,0.07,0.045');
  const white = paint('0.72,0.68,0.62');
  const buttons = [0, 1, 2, 3]
    .flatMap((i) =>
      [-1, 1].map((s) => {
        const y = 1.33 - i * 0.155;
        const rad = 0.213 + 0.02 * i;
        const a = s * (0.33 - 0.02 * i);
        return `sphere{<${n(Math.sin(a) * rad)},${n(y)},${n(-Math.cos(a) * rad * 0.86 - 0.012)}>,0.021 ${BRASS}}`;
      }),
    )
    .join(' ');
  const moustache = [-1, 1]
    .map(
      (s) =>
        'sphere_sweep{b_spline 7,<0,-0.02,-0.13>,0.02 <0,-0.045,-0.138>,0.022 ' +
        `<${n(s * 0.035)},-0.052,-0.142>,0.026 <${n(s * 0.075)},-0.068,-0.125>,0.022 ` +
        `<${n(s * 0.112)},-0.055,-0.104>,0.014 <${n(s * 0.13)},-0.022,-0.095>,0.007 ` +
        `<${n(s * 0.128)},0.01,-0.095>,0.004 tolerance 0.001 ${white}}`,
    )
    .join('\n');
  const cap =
    `union{ cylinder{<0,0.075,0>,<0,0.135,0>,0.132 ${coat}} cylinder{<0,0.085,0>,<0,0.108,0>,0.1345 ${trim}} ` +
    `sphere{0,1 scale <0.175,0.045,0.172> translate <0,0.155,0.005> ${coat}}\n` +
    'difference{ sphere{0,1 scale <0.125,0.02,0.11> translate <0,0.078,-0.105>} box{-1,1 translate <0,0,0.93>} ' +
    `${BLACK} } sphere{0,1 scale <0.026,0.03,0.012> translate <0,0.122,-0.134> ${BRASS}} }\n`;
  const lift = p.armLift ?? 0;
  const arm = (s: 1 | -1, up: number): string => {
    const shoulder: Vec3 = [s * 0.235, 1.425, 0];
    const elbow: Vec3 = [s * (0.33 + 0.03 * up), 1.15 + 0.08 * up, -0.02 - 0.1 * up];
    const hand: Vec3 = [s * (0.31 - 0.13 * up), 0.92 + 0.28 * up, -0.08 - 0.26 * up];
    const mid: Vec3 = [
      hand[0] * 0.85 + elbow[0] * 0.15,
      hand[1] * 0.85 + elbow[1] * 0.15,
      hand[2] * 0.85 + elbow[2] * 0.15,
    ];
    return (
      limb(shoulder, elbow, 0.085, 0.068, coat) +
      limb(elbow, mid, 0.068, 0.06, coat) +
      `sphere{${v(hand)},0.055 ${white}} torus{0.056,0.014 rotate x*70 translate ${v(mid)} ${trim}}\n`
    );
  };
  const board = (s: 1 | -1): string => {
    const q = SHOULDER_BOARD.map((c) => [c[0] * s, c[1], c[2]] as Vec3);
    const lo = q.map((c) => add(c, [0, -0.055, 0]));
    const f = (a: number, b: number, c: number, d: number, set: Vec3[]): string =>
      [a, b, c, d].map((i) => v(set[i] ?? [0, 0, 0])).join(',');
    const all = [...q, ...lo];
    return (
      `union{ polygon{5,${f(0, 1, 2, 3, all)},${v(all[0] ?? [0, 0, 0])}} ` +
      `polygon{5,${f(0, 1, 5, 4, all)},${v(all[0] ?? [0, 0, 0])}} ` +
      `polygon{5,${f(1, 2, 6, 5, all)},${v(all[1] ?? [0, 0, 0])}}` +
      ' texture{pigment{checker rgb<0.72,0.46,0.13>, rgb<0.4,0.06,0.04> scale 0.0308 translate 0.007} ' +
      'finish{ambient 0 diffuse 0.8 specular 0.2}} }\n'
    );
  };
  return (
    'union{\n' +
    'lathe{cubic_spline ' +
    '9,<0.0,1.56>,<0.075,1.545>,<0.2,1.49>,<0.25,1.4>,<0.235,1.2>,<0.235,1.03>,<0.29,0.7>,<0.335,0.36>,<0.33,0.3> ' +
    `scale <1,1,0.86> ${coat}}\n` +
    `torus{0.238,0.024 scale <1,1.2,0.88> translate y*1.04 ${DARK}} ` +
    `box{<-0.035,1.005,-0.24>,<0.035,1.075,-0.222> ${BRASS}}\n` +
    `lathe{linear_spline 4,<0.1,1.5>,<0.125,1.56>,<0.115,1.6>,<0.085,1.57> ${coat}} ` +
    `torus{0.1,0.026 translate y*1.545 ${trim}}\n` +
    buttons +
    board(1) +
    board(-1) +
    limb([-0.1, 0.4, 0], [-0.1, 0.08, 0], 0.08, 0.065, DARK) +
    limb([0.1, 0.4, 0], [0.1, 0.08, 0], 0.08, 0.065, DARK) +
    `sphere{0,1 scale <0.07,0.05,0.14> translate <-0.1,0.045,-0.05> ${BLACK}} ` +
    `sphere{0,1 scale <0.07,0.05,0.14> translate <0.1,0.045,-0.05> ${BLACK}}\n` +
    arm(1, 0.0) +
    arm(-1, lift) +
    // Leather satchel on its strap.
    `box{<-0.4,0.8,-0.06>,<-0.28,0.98,0.12> rotate y*-8 ${paint('0.25,0.1,0.04', 'specular 0.2 roughness 0.05')}}\n` +
    `union{ ${face(white)} ${moustache} ${cap} rotate <${n(p.headPitch ?? 0)},${n(p.headYaw ?? 0)},0> ` +
    'translate y*1.675 }\n' +
    `rotate y*${n(p.yaw)} translate ${v(p.position)} }\n`
  );
}

/** A waiting passenger in a long mustard coat and a round hat; `tone` chooses the coat. */
export function passenger(p: PersonPose, tone: 'mustard' | 'plum' = 'mustard'): string {
  const coat =
    tone === 'mustard' ? cloth('0.36,0.2,0.045', '0.52,0.31,0.085') : cloth('0.17,0.05,0.1', '0.28,0.09,0.16');
  const felt = tone === 'mustard' ? paint('0.22,0.06,0.06') : paint('0.13,0.16,0.17');
  const swing = p.stride === undefined ? 0 : Math.sin(2 * Math.PI * p.stride);
  const hop = p.stride === undefined ? 0 : 0.012 * Math.abs(Math.cos(2 * Math.PI * p.stride));
  const leg = (s: 1 | -1): string => {
    const foot: Vec3 = [s * 0.085, 0.05, -0.19 * swing * s];
    return (
      limb([s * 0.085, 0.5, 0], foot, 0.07, 0.05, DARK) +
      `sphere{0,1 scale <0.055,0.045,0.12> translate ${v(add(foot, [0, 0, -0.04]))} ${BLACK}}\n`
    );
  };
  const arm = (s: 1 | -1): string =>
    limb([s * 0.195, 1.28, 0], [s * 0.255, 1.03, 0.02 + 0.05 * swing * s], 0.07, 0.058, coat) +
    limb([s * 0.255, 1.03, 0.02 + 0.05 * swing * s], [s * 0.235, 0.82, -0.05 + 0.12 * swing * s], 0.058, 0.05, coat) +
    `sphere{<${n(s * 0.235)},0.785,${n(-0.06 + 0.13 * swing * s)}>,0.045 ${FLESH}}\n`;
  return (
    'union{\n' +
    'lathe{cubic_spline ' +
    '8,<0,1.42>,<0.07,1.41>,<0.17,1.355>,<0.205,1.26>,<0.195,1.05>,<0.24,0.7>,<0.29,0.36>,<0.28,0.3> ' +
    `scale <1,1,0.86> ${coat}}\n` +
    `torus{0.085,0.042 translate y*1.42 ${paint('0.6,0.5,0.36')}} ${leg(1)} ${leg(-1)} ${arm(1)} ${arm(-1)}` +
    `box{<0.15,0.52,-0.12>,<0.32,0.78,0.16> ${paint('0.2,0.085,0.04', 'specular 0.2 roughness 0.05')}} ` +
    `torus{0.05,0.01 rotate z*90 translate <0.235,0.79,0> ${DARK}}\n` +
    [0, 1, 2].map((i) => `sphere{<0,${n(1.25 - i * 0.16)},${n(-0.182 - 0.01 * i)}>,0.016 ${DARK}}`).join(' ') +
    `union{ ${face(paint('0.2,0.1,0.05'))} sphere{0,1 scale <0.03,0.007,0.012> ` +
    `translate <0,-0.062,-0.113> ${paint('0.4,0.12,0.1')}} ` +
    `sphere{0,1 scale <0.135,0.12,0.13> translate <0,0.045,0.018> ${paint('0.2,0.09,0.04')}}\n` +
    `cylinder{<0,0.072,0>,<0,0.084,0>,0.205 ${felt}} ` +
    `sphere{0,1 scale <0.135,0.12,0.135> translate <0,0.085,0> ${felt}} ` +
    `torus{0.134,0.012 translate y*0.098 ${paint('0.75,0.62,0.4')}}\n` +
    `rotate <${n(p.headPitch ?? 0)},${n(p.headYaw ?? 0)},0> translate y*1.525 }\n` +
    `translate y*${n(hop)} rotate y*${n(p.yaw)} translate ${v(p.position)} }\n`
  );
}

/** A point of a person's own frame in the world. */
export const ofPerson = (p: PersonPose, q: Vec3): Vec3 => add(turnY(q, p.yaw), p.position);
