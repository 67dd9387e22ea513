// The home set: a green cloth over floor and wall, a peg of known height painted like the cloth, daylight from one
// window.

import { GLOBAL } from './shot.js';
import { mul, n, v, type Vec3 } from './vector.js';

export interface Screen {
  /** 1 even; lower = the far side of the cloth gets only this share of light. */
  readonly fallOff: number;
  /** 0 ironed … 1 badly creased. */
  readonly folds: number;
}

export const EVEN: Screen = { fallOff: 0.93, folds: 0.12 };
export const PEG_HEIGHT = 0.2;
const WALL_Z = 1.25;

/** Seams of the cloth on the floor, parallel to the way the camera looks: ground lines for the view. */
export const SEAM_X: readonly number[] = [-0.62, 0.62];
export const SEAM_Z: readonly number[] = [-0.35, 0.95];

/**
 * Lights and cloth. `peg` is the peg's foot; `wallTurnDeg` hangs the wall askew, positive faces it to the camera's
 * left.
 */
export function homeSet(sun: Vec3, screen: Screen, peg: Vec3 | undefined, seams = true, wallTurnDeg = 0): string {
  const turned = wallTurnDeg === 0 ? '' : ` rotate y*${n(wallTurnDeg)}`;
  const f = screen.folds;
  const ironed = (across: string, upright: number): string =>
    `average normal_map{ [1 ${across} ${n(0.5 * f)} rotate x*${upright} turbulence ${n(0.35 + 0.4 * f)} ` +
    `scale ${n(0.85 - 0.35 * f)}][1 wrinkles ${n(0.9 * f)} scale 0.5][0.6 bumps ${n(0.5 * f)} scale 0.05] }`;
  // Straight out of its packet: hanging folds and the creases of folding.
  const creased =
    `average normal_map{ [1.4 gradient x ${n(0.9 * f)} sine_wave turbulence 0.3 octaves 4 ` +
    `scale <0.34,1.6,1.6>][0.5 bumps ${n(0.6 * f)} scale <0.5,0.2,0.4>][0.8 gradient y ${n(1.5 * f)} ramp_wave ` +
    'turbulence 0.04 scale 0.42] }';
  const even = `pigment{ bozo turbulence 0.35 scale 0.8 pigment_map{
      [0.2 gradient x scale 3.2 translate x*-1.6 color_map{[0 rgb <0.052,0.335,0.092>*${n(screen.fallOff)}][1 rgb<0.052,0.335,0.092>]}]
      [0.8 gradient x scale 3.2 translate x*-1.6 color_map{[0 rgb <0.06,0.365,0.102>*${n(screen.fallOff)}][1 rgb<0.06,0.365,0.102>]}] } }`;
  const dimming =
    'pigment{ gradient x scale 3.6 translate x*-1.5 ' +
    `color_map{[0 rgb <0.056,0.35,0.097>*${n(screen.fallOff)}][1 rgb<0.056,0.35,0.097>]} }`;
  const cloth = (across: string, upright = 0): string => `texture{ ${f > 0.5 ? dimming : even}
    normal{ ${f > 0.5 ? creased : ironed(across, upright)} }
    finish{ambient 0 diffuse 0.85} }`;
  const seam = texture('0.04,0.255,0.07');
  return (
    `${GLOBAL}light_source{${v(mul(sun, 120))} rgb<2.35,2.1,1.8> parallel point_at 0}\n` +
    'light_source{<-25,80,-50> rgb<0.2,0.2,0.23> shadowless parallel point_at 0}\n' +
    'light_source{<50,40,-40> rgb<0.13,0.125,0.13> shadowless parallel point_at 0}\n' +
    // Green thrown back by the cloth: from below and from the wall.
    'light_source{<0,-60,-25> rgb<0.025,0.14,0.04> shadowless parallel point_at 0}\n' +
    'light_source{<0,12,70> rgb<0.03,0.19,0.05> shadowless parallel point_at 0}\n' +
    `plane{y,0 ${cloth('waves')}}\nplane{-z,${-WALL_Z} ${cloth('wood', 90)}${turned}}\n` +
    `difference{ box{<-9,0,${WALL_Z - 0.35}>,<9,0.35,${WALL_Z}>} ` +
    `cylinder{<-10,0.35,${WALL_Z - 0.35}>,<10,0.35,${WALL_Z - 0.35}>,0.35} ${cloth('waves')}${turned} }\n` +
    (seams
      ? SEAM_X.map((x) => `box{<${n(x - 0.004)},-0.01,-2>,<${n(x + 0.004)},0.0006,${WALL_Z - 0.3}> ${seam}}`).join(' ')
      : '') +
    (peg
      ? `union{ cylinder{0,<0,${PEG_HEIGHT},0>,0.0065} cylinder{0,<0,0.006,0>,0.024} ` +
        `${texture('0.045,0.29,0.08')} translate ${v(peg)} }\n`
      : '')
  );
}

function texture(rgb: string): string {
  return `texture{pigment{rgb<${rgb}>} finish{ambient 0 diffuse 0.85}}`;
}
