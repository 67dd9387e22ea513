// Tram number 7. Own frame: x along the track, rails at y = 0, centre line z = 0; its near side faces −z.

import { BRASS, glow, IRON, paint } from './materials.js';
import { n, type Vec3 } from './vector.js';

const HALF = 3.9;
const SIDE = 1.05;
const RED = paint('0.36,0.035,0.03', 'specular 0.3 roughness 0.05');
const CREAM = paint('0.72,0.63,0.44', 'specular 0.2 roughness 0.08');

/** The advertisement board on the near side: corners clockwise from top left, in the tram's frame. */
export const BOARD: readonly Vec3[] = [
  [-0.95, 1.23, -1.085],
  [0.95, 1.23, -1.085],
  [0.95, 0.53, -1.085],
  [-0.95, 0.53, -1.085],
];

/** The tram with its middle at x on a track at z. `turns` is how far its wheels have rolled, metres. */
export function tram(x: number, z: number, rolled = 0): string {
  const windows = [-3.1, -2.05, -1.0, 0.05, 1.1, 2.15]
    .map(
      (w, i) =>
        `box{<${n(w)},1.52,${n(-SIDE - 0.012)}>,<${n(w + 0.92)},2.3,${n(-SIDE + 0.02)}> texture{pigment{gradient ` +
        'y scale 0.78 translate y*1.52 ' +
        'color_map{[0 rgb<0.5,0.19,0.04>][0.6 rgb<0.95,0.48,0.13>][1 rgb<1.0,0.68,0.3>]}} ' +
        'finish{ambient 0 diffuse 0.05 emission 0.95 specular 0.2}}}\n' +
        `box{<${n(w)},2.1,${n(-SIDE - 0.02)}>,<${n(w + 0.92)},2.13,${n(-SIDE)}> ${CREAM}}\n` +
        // Seats and a passenger or two in silhouette.
        `box{<${n(w + 0.1)},1.52,${n(-SIDE - 0.016)}>,<${n(w + 0.32)},1.78,${n(-SIDE - 0.005)}> ` +
        `${paint('0.16,0.05,0.03')}}\n` +
        (i % 3 === 1
          ? `sphere{0,1 scale <0.13,0.16,0.01> translate <${n(w + 0.6)},1.86,${n(-SIDE - 0.012)}> ` +
            `${paint('0.09,0.04,0.03')}} sphere{0,1 scale <0.24,0.2,0.01> ` +
            `translate <${n(w + 0.6)},1.56,${n(-SIDE - 0.012)}> ${paint('0.09,0.04,0.03')}}\n`
          : ''),
    )
    .join('');
  const wheel = (at: number): string => {
    const spokes = [0, 60, 120].map((a) => `box{<-0.27,-0.025,-0.02>,<0.27,0.025,0.02> rotate z*${a}}`).join(' ');
    return (
      `union{ torus{0.3,0.045 rotate x*90} ${spokes} cylinder{<0,0,-0.05>,<0,0,0.05>,0.08} ` +
      `rotate z*${n((-rolled / 0.34) * 57.29578)} translate <${n(at)},0.34,${n(-SIDE + 0.12)}> ${IRON}}\n`
    );
  };
  return (
    'union{\n' +
    `box{<${-HALF},0.45,${-SIDE}>,<${HALF},1.42,${SIDE}> ${RED}} ` +
    `box{<${-HALF},1.42,${-SIDE}>,<${HALF},2.42,${SIDE}> ${CREAM}}\n` +
    `cylinder{<${-HALF},0.45,0>,<${-HALF},2.42,0>,${SIDE} scale <0.36,1,1> ` +
    `translate x*${n(-HALF * 0.64)} ${RED}} cylinder{<${HALF},0.45,0>,<${HALF},2.42,0>,${SIDE} scale <0.36,1,1> ` +
    `translate x*${n(HALF * 0.64)} ${RED}}\n` +
    `box{<${-HALF},1.4,${n(-SIDE - 0.02)}>,<${HALF},1.445,${n(-SIDE)}> ${BRASS}} ` +
    `box{<${-HALF},0.5,${n(-SIDE - 0.012)}>,<${HALF},0.515,${n(-SIDE)}> ${BRASS}}\n` +
    `box{<${n(-HALF - 0.2)},2.42,${n(-SIDE - 0.1)}>,<${n(HALF + 0.2)},2.5,${n(SIDE + 0.1)}> ${RED}}\n` +
    `cylinder{<${n(-HALF - 0.15)},0,0>,<${n(HALF + 0.15)},0,0>,1 scale <1,0.34,${n(SIDE + 0.05)}> ` +
    `translate y*2.48 ${paint('0.5,0.44,0.36')}}\n` +
    windows +
    // Destination board on the roof edge.
    `box{<-1.15,2.5,${n(-SIDE - 0.12)}>,<1.15,2.84,${n(-SIDE - 0.04)}> ${paint('0.03,0.035,0.06')}} ` +
    'text{ttf "timrom.ttf" "7  HARROW HILL",0.02,0 scale 0.27 ' +
    `translate <-1.08,2.585,${n(-SIDE - 0.14)}> ${glow('1.0,0.78,0.4', 1)}}\n` +
    // The advertisement board: an old tea advertisement.
    `box{<-0.98,0.5,${n(-SIDE - 0.03)}>,<0.98,1.26,${n(-SIDE)}> ${BRASS}} ` +
    `box{<-0.95,0.53,${n(-SIDE - 0.035)}>,<0.95,1.23,${n(-SIDE)}> texture{pigment{granite scale 0.5 ` +
    'color_map{[0.1 rgb<0.1,0.17,0.2>][0.7 rgb<0.15,0.25,0.27>]}} finish{ambient 0 diffuse 0.85}}}\n' +
    'text{ttf "timrom.ttf" "Clover Tea",0.02,0 scale 0.36 ' +
    `translate <-0.82,0.84,${n(-SIDE - 0.05)}> ${paint('0.85,0.76,0.55')}} ` +
    'text{ttf "timrom.ttf" "warms the way home",0.02,0 scale 0.17 ' +
    `translate <-0.62,0.63,${n(-SIDE - 0.05)}> ${paint('0.75,0.62,0.4')}}\n` +
    `torus{0.09,0.018 rotate x*90 translate <0.82,0.75,${n(-SIDE - 0.04)}> ${paint('0.8,0.35,0.1')}}\n` +
    // Running gear, lamps, trolley pole.
    [-2.6, -1.75, 1.75, 2.6].map(wheel).join('') +
    `box{<${n(-HALF + 0.4)},0.3,${n(-SIDE + 0.25)}>,<${n(HALF - 0.4)},0.5,${n(SIDE - 0.2)}> ${IRON}}\n` +
    `sphere{<${n(-HALF - 0.4)},1.15,0>,0.16 ${glow('1.0,0.85,0.55', 1.3)}} ` +
    `sphere{<${n(-HALF - 0.05)},1.2,${n(-SIDE + 0.32)}>,0.09 ${glow('1.0,0.85,0.55', 1.2)}}\n` +
    `cylinder{<0.3,2.8,0>,<2.4,4.1,0>,0.025 ${IRON}}\n` +
    `translate <${n(x)},0.02,${n(z)}> }\n`
  );
}
