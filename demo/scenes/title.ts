// The opening card of the film: lettering over the evening hill, with a tram drawn in brass.

import { aim } from './camera.js';
import { glow, paint } from './materials.js';
import { GLOBAL, type Shot } from './shot.js';
import { trace } from './trace.js';
import { n } from './vector.js';

const camera = aim([0, 0, -10], 0, 0, 900);

function word(text: string, width: number, scale: number, y: number, colour: string): string {
  return (
    `text{ttf "timrom.ttf" "${text}",0.02,0 scale ${scale} ` +
    `translate <${n(-width * scale * 0.5)},${n(y)},-0.2> ${glow(colour, 0.9)}}\n`
  );
}

function star(i: number): string {
  return (
    `sphere{<${n(-4.6 + ((i * 3.77) % 9.2))},${n(0.25 + ((i * 1.37) % 2.4))},0.3>,${n(0.011 + 0.008 * (i % 3))} ` +
    `${glow('1,0.93,0.8', 0.85)}}\n`
  );
}

const scene =
  `${GLOBAL}light_source{<-20,30,-40> rgb<1.1,0.9,0.7> shadowless parallel point_at 0}\n` +
  'light_source{<30,5,-40> rgb<0.16,0.17,0.3> shadowless parallel point_at 0}\n' +
  'plane{-z,-1 texture{pigment{gradient y scale 8 translate y*-3.2 ' +
  'color_map{[0 rgb<0.75,0.3,0.16>][0.3 rgb<0.45,0.2,0.22>][0.5 rgb<0.14,0.11,0.24>][0.75 rgb<0.04,0.05,0.14>]}} ' +
  'finish{ambient 0 diffuse 0 emission 0.8}}}\n' +
  Array.from({ length: 40 }, (_, i) => star(i)).join('') +
  `sphere{<3.2,1.55,0.6>,0.42 ${glow('1.0,0.88,0.66', 0.95)}}\n` +
  // Hills in three paper layers.
  `sphere{0,1 scale <5.2,1.5,0.05> translate <2.4,-2.55,0.5> ${paint('0.13,0.085,0.12')}}\n` +
  `sphere{0,1 scale <4.6,1.1,0.05> translate <-3.2,-2.6,0.35> ${paint('0.075,0.055,0.09')}}\n` +
  `box{<-6,-3,0.1>,<6,-2.22,0.15> ${paint('0.03,0.025,0.045')}}\n` +
  `box{<-6,-2.21,0.05>,<6,-2.19,0.1> ${paint('0.72,0.46,0.13')}}\n` +
  // The tram in silhouette with lit panes.
  `union{ box{<-0.95,0.14,0>,<0.95,0.85,0.05> ${paint('0.3,0.03,0.028')}} ` +
  `box{<-1.02,0.85,0>,<1.02,0.92,0.06> ${paint('0.5,0.42,0.3')}} ` +
  [0, 1, 2, 3, 4]
    .map(
      (i) =>
        `box{<${n(-0.82 + i * 0.34)},0.46,-0.02>,<${n(-0.56 + i * 0.34)},0.76,0.02> ${glow('1.0,0.66,0.26', 0.95)}}`,
    )
    .join(' ') +
  ` box{<-0.94,0.38,-0.01>,<0.94,0.41,0.02> ${paint('0.72,0.46,0.13')}} ` +
  `${[-0.6, -0.35, 0.35, 0.6].map((x) => `torus{0.09,0.022 rotate x*90 translate <${x},0.1,0>}`).join(' ')} ` +
  `sphere{<-1.0,0.3,0>,0.05 ${glow('1,0.9,0.6', 1.6)}} texture{pigment{rgb<0.05,0.045,0.05>} finish{ambient 0}} ` +
  'translate <-2.4,-2.2,0> }\n' +
  word('LAST  TRAM  TO', 8.35, 0.38, 0.75, '0.86,0.74,0.52') +
  word('Harrow Hill', 4.62, 1.25, -0.5, '0.98,0.87,0.66') +
  `box{<-1.3,-0.86,-0.2>,<1.3,-0.845,-0.19> ${glow('0.72,0.5,0.2', 0.8)}}\n` +
  word('a picture in one reel', 8.25, 0.24, -1.2, '0.75,0.6,0.45');

export const titleShot: Shot = {
  id: 'title',
  what: 'the opening card',
  frames: 36,
  how: 'painted',
  exposure: 0.95,
  camera: () => camera,
  sun: [0, 1, 0],
  set: scene,
  cast: () => '',
  reach: () => [],
  paint: (_f, o) => trace(scene, camera, { x: 0, y: 0, w: camera.widthPx, h: camera.heightPx }, { ...o, scale: 2 }),
  truth: () => ({}),
};
