/** Shot "hill": the last tram climbs to Harrow Hill at dusk. */
import { aim, project, sunFrom } from './camera.js';
import { glow, IRON, paint } from './materials.js';
import { hill, houses, lamp, lights } from './set.js';
import type { Shot } from './shot.js';
import { add, lerp, n, type Vec3 } from './vector.js';

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
