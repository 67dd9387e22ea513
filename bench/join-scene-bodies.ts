/** Bodies of the joins that are made whole, as the tracer reads them. */
import { passenger, PASSENGER_HEIGHT } from '../demo/scenes/people.js';
import { RABBIT_HEIGHT, rabbit, rabbitDeclarations } from '../demo/scenes/rabbit.js';
import { n as num, v, type Vec3 } from '../demo/scenes/vector.js';
import type { Made } from './join-scene-list.js';

type Kind = Made['body'];

const skin = (rgb: string): string =>
  `texture{pigment{bozo scale 0.02 color_map{[0 rgb<${rgb}>*0.82][1 rgb<${rgb}>]}} ` +
  'normal{bumps 0.35 scale 0.006} finish{ambient 0 diffuse 0.85}}';
const capsule = (a: Vec3, b: Vec3, ra: number, rb: number, m: string): string =>
  `union{ cone{${v(a)},${num(ra)},${v(b)},${num(rb)}} sphere{${v(a)},${num(ra)}} sphere{${v(b)},${num(rb)}} ${m}}\n`;

/** A standing hound, facing −z at yaw 0: body along z, four legs of which two stand well behind the others. */
function hound(at: Vec3, yaw: number): string {
  const tan = skin('0.46,0.27,0.12');
  const dark = skin('0.12,0.08,0.06');
  const pale = skin('0.72,0.62,0.48');
  const leg = (x: number, z: number): string =>
    capsule([x * 0.9, 0.36, z], [x, 0.16, z + 0.015], 0.06, 0.034, tan) +
    capsule([x, 0.16, z + 0.015], [x, 0.03, z], 0.034, 0.028, pale) +
    `sphere{0,1 scale <0.036,0.028,0.052> translate <${num(x)},0.028,${num(z - 0.02)}> ${pale}}\n`;
  return (
    `union{ sphere{0,1 scale <0.125,0.15,0.2> translate <0,0.44,-0.17> ${tan}} ` +
    `sphere{0,1 scale <0.105,0.12,0.22> translate <0,0.45,0.08> ${tan}} ` +
    `sphere{0,1 scale <0.115,0.13,0.16> translate <0,0.45,0.27> ${tan}} ` +
    `sphere{0,1 scale <0.09,0.11,0.15> translate <0,0.37,-0.2> ${pale}}\n` +
    leg(-0.085, -0.23) +
    leg(0.085, -0.23) +
    leg(-0.085, 0.3) +
    leg(0.085, 0.3) +
    capsule([0, 0.5, -0.27], [0, 0.64, -0.36], 0.09, 0.07, tan) +
    `sphere{0,1 scale <0.085,0.085,0.1> translate <0,0.68,-0.4> ${tan}}\n` +
    capsule([0, 0.65, -0.46], [0, 0.635, -0.55], 0.052, 0.036, pale) +
    `sphere{<0,0.648,-0.585>,0.018 ${dark}} ` +
    [-1, 1]
      .map(
        (s) =>
          `sphere{<${num(s * 0.04)},0.7,-0.476>,0.014 ${dark}} ` +
          `sphere{0,1 scale <0.02,0.075,0.045> rotate z*${s * 12} ` +
          `translate <${num(s * 0.088)},0.645,-0.39> ${dark}}`,
      )
      .join(' ') +
    capsule([0, 0.5, 0.4], [0, 0.62, 0.54], 0.025, 0.014, tan) +
    ` rotate y*${num(yaw)} translate ${v(at)} }\n`
  );
}

export const BODIES: Record<
  Kind,
  {
    readonly height: number;
    readonly half: number;
    readonly distance: number;
    readonly focalPx: number;
    readonly text: (at: Vec3, yaw: number) => string;
  }
> = {
  rabbit: {
    height: RABBIT_HEIGHT,
    half: 0.25,
    distance: 2.4,
    focalPx: 1300,
    text: (position, yaw) => rabbitDeclarations() + rabbit({ position, yaw }),
  },
  hound: { height: 0.765, half: 0.62, distance: 3.4, focalPx: 1250, text: hound },
  person: {
    height: PASSENGER_HEIGHT,
    half: 0.4,
    distance: 6,
    focalPx: 1250,
    text: (position, yaw) => passenger({ position, yaw }, 'plum'),
  },
};
