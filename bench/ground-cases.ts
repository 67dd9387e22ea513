/**
 * Scenes for the ground step: a body on a plain floor under a lamp, with mirrors, panes, haze and grounds of many
 * kinds.
 */
import type { Vec3 } from '../demo/scenes/vector.js';
import type { GroundStep } from '../src/join/types.js';

export interface Lamp {
  readonly azimuth: number;
  readonly elevation: number;
  readonly rgb: Vec3;
  readonly softDeg?: number;
}
export interface Case {
  readonly id: string;
  readonly body: 'rabbit' | 'person';
  readonly cameraHeight: number;
  readonly tilt: number;
  readonly focalPx: number;
  readonly far: number;
  readonly yaw: number;
  readonly lamps: readonly Lamp[];
  readonly sky: number;
  readonly floor: string;
  readonly step: Partial<GroundStep>;
  /** An upright pane: the ends of its foot line, and its height. */
  readonly pane?: readonly [Vec3, Vec3, number];
  /** Further things of the set, and the surfaces of it that are marked for the shadow, in metres. */
  readonly set?: string;
  readonly receivers?: readonly {
    readonly surface: 'wall' | 'step';
    readonly outline: readonly Vec3[];
    readonly height?: number;
  }[];
  /** Read where the key lights the ground, as a proposal does: no shadow is laid over one of the set's own. */
  readonly lit?: boolean;
}

export const STONE = 'pigment{bozo scale 0.06 color_map{[0 rgb<0.30,0.27,0.23>][1 rgb<0.36,0.33,0.29>]}}';
const DARK = 'pigment{bozo scale 0.09 color_map{[0 rgb<0.10,0.08,0.07>][1 rgb<0.15,0.12,0.10>]}}';
export const floor = (pigment: string, finish: string, normal = ''): string =>
  `plane{y,0 ${pigment} ${normal} finish{ambient 0 diffuse 0.85 ${finish}} }\n`;
/** Slopes of a rough floor, finer than a pixel: every ray meets another. */
export const ROUGH = (k: number): string => `normal{ bumps ${k} scale 0.0007 }`;
export const BACK =
  'plane{-z,-7 pigment{gradient x ' +
  'color_map{[0 rgb<0.5,0.42,0.34>][0.5 rgb<0.5,0.42,0.34>][0.5 rgb<0.75,0.7,0.6>][1 rgb<0.75,0.7,0.6>]} ' +
  'scale 1.3} finish{ambient 0 diffuse 0.85} no_shadow}\nbackground{rgb<0.55,0.65,0.85>}\n';
export const SUN: Lamp = { azimuth: 55, elevation: 42, rgb: [2.3, 2.0, 1.6] };

export const CASES: readonly Case[] = [
  {
    id: 'polished',
    body: 'rabbit',
    cameraHeight: 0.5,
    tilt: -6,
    focalPx: 900,
    far: 2.4,
    yaw: 20,
    lamps: [SUN],
    sky: 0.5,
    floor: floor(STONE, 'reflection{0.04,1 fresnel on} conserve_energy} interior{ior 1.5') + '',
    step: { reflection: { share: 0, roughness: 0 } },
  },
  {
    id: 'marble-high',
    body: 'person',
    cameraHeight: 1.9,
    tilt: -11,
    focalPx: 620,
    far: 5,
    yaw: -20,
    lamps: [SUN],
    sky: 0.5,
    floor: floor(DARK, 'reflection{0.04,1 fresnel on} conserve_energy} interior{ior 1.5'),
    step: { reflection: { share: 0, roughness: 0 } },
  },
  {
    id: 'water',
    body: 'person',
    cameraHeight: 1.3,
    tilt: -6,
    focalPx: 620,
    far: 5,
    yaw: 30,
    lamps: [SUN],
    sky: 0.6,
    floor: floor(
      'pigment{rgb<0.05,0.06,0.055>}',
      'reflection{0.02,1 fresnel on} conserve_energy} interior{ior 1.5',
      'normal{bumps 0.1 scale <0.11,0.11,0.05>}',
    ),
    step: { reflection: { share: 0, roughness: 0.2 } },
  },
  {
    id: 'rough',
    body: 'rabbit',
    cameraHeight: 0.5,
    tilt: -6,
    focalPx: 900,
    far: 2.4,
    yaw: -30,
    lamps: [SUN],
    sky: 0.5,
    floor: floor(DARK, 'reflection{0.04,1 fresnel on} conserve_energy} interior{ior 1.5', ROUGH(0.25)),
    step: { reflection: { share: 0, roughness: 0.3 } },
  },
  {
    id: 'pane-behind',
    body: 'person',
    cameraHeight: 1.5,
    tilt: -5,
    focalPx: 620,
    far: 5,
    yaw: -20,
    lamps: [SUN],
    sky: 0.5,
    floor: floor(STONE, ''),
    pane: [[-1.6, 0, 1.3], [2.2, 0, 1.0], 2.4],
    step: { reflection: { share: 0, roughness: 0 } },
  },
  {
    id: 'pane-side',
    body: 'rabbit',
    cameraHeight: 0.5,
    tilt: -6,
    focalPx: 800,
    far: 2.4,
    yaw: -30,
    lamps: [{ ...SUN, azimuth: -40 }],
    sky: 0.5,
    floor: floor(STONE, ''),
    pane: [[0.45, 0, -0.9], [0.6, 0, 2.5], 1.2],
    step: { reflection: { share: 0, roughness: 0 } },
  },
  {
    id: 'coat',
    body: 'person',
    cameraHeight: 1.2,
    tilt: -6,
    focalPx: 620,
    far: 5,
    yaw: -20,
    lamps: [SUN],
    sky: 0.5,
    floor: floor(DARK, 'reflection 0.15'),
    step: { reflection: { share: 0, roughness: 0 } },
  },
  {
    id: 'overcast',
    body: 'rabbit',
    cameraHeight: 0.7,
    tilt: -10,
    focalPx: 900,
    far: 2.4,
    yaw: 20,
    lamps: [],
    sky: 2,
    floor: floor(STONE, ''),
    step: {},
  },
  {
    id: 'overcast-person',
    body: 'person',
    cameraHeight: 1.5,
    tilt: -8,
    focalPx: 620,
    far: 5,
    yaw: -20,
    lamps: [],
    sky: 2,
    floor: floor(STONE, ''),
    step: {},
  },
  {
    id: 'two-lamps',
    body: 'person',
    cameraHeight: 1.5,
    tilt: -8,
    focalPx: 620,
    far: 5,
    yaw: -20,
    lamps: [
      { azimuth: 60, elevation: 45, rgb: [1.6, 1.4, 1.1] },
      { azimuth: -50, elevation: 38, rgb: [0.8, 0.9, 1.2] },
    ],
    sky: 0.5,
    floor: floor(STONE, ''),
    step: {},
  },
  {
    id: 'large-lamp',
    body: 'rabbit',
    cameraHeight: 0.7,
    tilt: -10,
    focalPx: 900,
    far: 2.4,
    yaw: 20,
    lamps: [{ azimuth: 60, elevation: 45, rgb: [2, 1.8, 1.5], softDeg: 12 }],
    sky: 0.5,
    floor: floor(STONE, ''),
    step: {},
  },
  {
    id: 'sun',
    body: 'person',
    cameraHeight: 1.5,
    tilt: -8,
    focalPx: 620,
    far: 5,
    yaw: -20,
    lamps: [{ ...SUN, softDeg: 0.53 }],
    sky: 0.5,
    floor: floor(STONE, ''),
    step: {},
  },
];
