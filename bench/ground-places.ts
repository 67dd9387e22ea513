/**
 * Scenes for the ground step whose ground is no single plane: stairs, walls, slopes and things the shadow falls over.
 */
import type { Vec3 } from '../demo/scenes/vector.js';
import { type Case, ROUGH, STONE, SUN, floor } from './ground-cases.js';
import { aslant } from './ground-lamps.js';

/** A tread of .22 m behind the performer, as wide as the picture; its riser's foot line comes first. */
const RISER: readonly Vec3[] = [
  [-4, 0, 0.55],
  [4, 0, 0.55],
  [4, 0.22, 0.55],
  [-4, 0.22, 0.55],
];
const TREAD: readonly Vec3[] = [
  [-4, 0.22, 0.55],
  [4, 0.22, 0.55],
  [4, 0.22, 3],
  [-4, 0.22, 3],
];
const PLASTER =
  'pigment{bozo scale 0.05 color_map{[0 rgb<0.52,0.47,0.42>][1 rgb<0.58,0.53,0.47>]}} finish{ambient 0 diffuse 0.85}';

/** Where the shadow goes: walls, steps, out of the picture, towards the camera, into one of the set's own. */
export const PLACES: readonly Case[] = [
  {
    id: 'wall',
    body: 'person',
    cameraHeight: 1.5,
    tilt: -5,
    focalPx: 620,
    far: 5,
    yaw: -20,
    lamps: [{ ...SUN, azimuth: 40, elevation: 32 }],
    sky: 0.5,
    floor: floor(STONE, ''),
    set: `box{<-5,0,0.9><5,3,1.2> texture{${PLASTER}}}`,
    receivers: [
      {
        surface: 'wall',
        outline: [
          [-2.2, 0, 0.9],
          [2.2, 0, 0.9],
          [2.2, 2.6, 0.9],
          [-2.2, 2.6, 0.9],
        ],
      },
    ],
    step: {},
  },
  {
    id: 'wall-aslant',
    body: 'rabbit',
    cameraHeight: 0.6,
    tilt: -8,
    focalPx: 900,
    far: 2.4,
    yaw: 20,
    lamps: [{ ...SUN, azimuth: 60, elevation: 30 }],
    sky: 0.5,
    floor: floor(STONE, ''),
    set: `box{<-5,0,0><5,3,0.2> rotate y*-35 translate <-0.35,0,0.25> texture{${PLASTER}}}`,
    receivers: [
      {
        surface: 'wall',
        outline: aslant([
          [-0.5, 0],
          [1, 0],
          [1, 0.9],
          [-0.5, 0.9],
        ]),
      },
    ],
    step: {},
  },
  {
    id: 'steps',
    body: 'person',
    cameraHeight: 1.5,
    tilt: -7,
    focalPx: 620,
    far: 5,
    yaw: -20,
    lamps: [{ ...SUN, azimuth: 35, elevation: 38 }],
    sky: 0.5,
    floor: floor(STONE, ''),
    set: `box{<-5,0,0.55><5,0.22,6> texture{${PLASTER}}}`,
    receivers: [
      { surface: 'step', outline: TREAD, height: 0.22 },
      { surface: 'wall', outline: RISER },
    ],
    step: {},
  },
  {
    id: 'low-sun',
    body: 'person',
    cameraHeight: 1.4,
    tilt: -6,
    focalPx: 620,
    far: 5,
    yaw: 30,
    lamps: [{ ...SUN, azimuth: 75, elevation: 11 }],
    sky: 0.25,
    floor: floor(STONE, ''),
    step: {},
  },
  {
    id: 'towards',
    body: 'rabbit',
    cameraHeight: 0.7,
    tilt: -12,
    focalPx: 800,
    far: 2.4,
    yaw: 10,
    lamps: [{ ...SUN, azimuth: 165, elevation: 34 }],
    sky: 0.5,
    floor: floor(STONE, ''),
    step: {},
  },
  {
    id: 'own-shade',
    body: 'rabbit',
    cameraHeight: 0.7,
    tilt: -10,
    focalPx: 900,
    far: 2.4,
    yaw: 20,
    lamps: [SUN],
    sky: 0.5,
    floor: floor(STONE, ''),
    set:
      'box{<-0.1,0,-0.1><0.1,1.5,0.1> translate <0.85,0,-0.35> pigment{rgb<0.2,0.12,0.08>} ' +
      'finish{ambient 0 diffuse 0.85}}',
    lit: true,
    step: {},
  },
  {
    id: 'snow',
    body: 'rabbit',
    cameraHeight: 0.5,
    tilt: -7,
    focalPx: 900,
    far: 2.4,
    yaw: -30,
    lamps: [{ ...SUN, azimuth: -60, elevation: 24, rgb: [1.1, 1.0, 0.85] }],
    sky: 0.3,
    floor: floor(
      'pigment{bozo scale 0.3 color_map{[0 rgb<0.84,0.86,0.88>][1 rgb<0.9,0.91,0.92>]}}',
      '',
      'normal{bumps 0.3 scale 0.08}',
    ),
    step: {},
  },
  {
    id: 'wet-asphalt',
    body: 'rabbit',
    cameraHeight: 0.5,
    tilt: -6,
    focalPx: 900,
    far: 2.4,
    yaw: 20,
    lamps: [],
    sky: 1.4,
    floor: floor(
      'pigment{rgb<0.05,0.05,0.055>}',
      'reflection{0.02,1 fresnel on} conserve_energy} interior{ior 1.33',
      ROUGH(0.18),
    ),
    step: { reflection: { share: 0, roughness: 0.2 } },
  },
];
