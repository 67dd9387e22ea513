/** The light's scenes, one row each: subject, place, and how its light differs from the take's. */
import type { Vec3 } from '../demo/scenes/vector.js';

/** What a scene has otherwise than the demo's street and home. */
export interface LightChange {
  /** Sun of the film, linear RGB (the demo's: 2.55, 1.85, 1.2), and its fill beside the demo's street. */
  readonly sunRgb: Vec3;
  readonly fill: number;
  /** Two linear colours of the ground; the demo's cobbles where absent. */
  readonly ground?: readonly [string, string];
  /** Factor on each channel of the body's colours, and how far they go to grey first. */
  readonly coat?: Vec3;
  readonly grey?: number;
  /** Print of the film: gain a channel, contrast. */
  readonly tint?: Vec3;
  readonly contrast?: number;
  /** Home: key (the demo's: 2.35, 2.1, 1.8), factor on its fill and on what its cloth throws back. */
  readonly homeKey: Vec3;
  readonly homeFill: number;
  readonly cloth: number;
  /** Clothes of whoever waits, and the houses behind. */
  readonly tone: 'mustard' | 'plum';
  readonly houses: number;
  /** A clear sky by day in place of the demo's evening. */
  readonly day?: boolean;
}

export interface LightScene {
  readonly id: string;
  readonly body: 'rabbit' | 'hound' | 'person';
  readonly yaw: number;
  readonly at: Vec3;
  readonly cameraHeight: number;
  readonly tilt: number;
  readonly focalPx: number;
  readonly sun: readonly [number, number];
  readonly exposure: number;
  /** Take beside the need: view elevation, key azimuth and elevation (degrees), the phone's exposure. */
  readonly off: readonly [number, number, number];
  readonly takeExposure: number;
  readonly light: LightChange;
}

export const LIGHT_SCENES: readonly LightScene[] = [
  {
    id: 'noon-sand',
    body: 'hound',
    yaw: 35,
    at: [-0.3, 0, 0],
    cameraHeight: 1.4,
    tilt: -7,
    focalPx: 1000,
    sun: [-30, 62],
    exposure: 0.36,
    off: [3, 10, -8],
    takeExposure: 0.5,
    light: {
      sunRgb: [2.3, 2.12, 1.9],
      fill: 1.1,
      ground: ['0.6,0.48,0.33', '0.5,0.4,0.27'],
      tint: [1.01, 1, 0.98],
      contrast: 1.1,
      homeKey: [2.0, 1.92, 1.8],
      homeFill: 1.6,
      cloth: 1,
      tone: 'plum',
      houses: 11,
      day: true,
    },
  },
  {
    id: 'veiled-white',
    body: 'rabbit',
    yaw: -10,
    at: [-0.3, 0, -0.2],
    cameraHeight: 1.3,
    tilt: -8,
    focalPx: 1100,
    sun: [24, 48],
    exposure: 0.78,
    off: [-3, 14, 4],
    takeExposure: 0.72,
    light: {
      sunRgb: [1.0, 0.98, 0.95],
      fill: 1.5,
      ground: ['0.1,0.1,0.105', '0.08,0.08,0.085'],
      coat: [1.15, 1.15, 1.15],
      grey: 0.75,
      tint: [1, 1, 1],
      homeKey: [1.5, 1.42, 1.3],
      homeFill: 1.3,
      cloth: 0.85,
      tone: 'mustard',
      houses: 12,
      day: true,
    },
  },
  {
    id: 'cool-black',
    body: 'hound',
    yaw: -30,
    at: [-0.2, 0, 0.1],
    cameraHeight: 1.1,
    tilt: -5,
    focalPx: 1000,
    sun: [52, 38],
    exposure: 0.66,
    off: [4, -12, 6],
    takeExposure: 0.95,
    light: {
      sunRgb: [1.3, 1.3, 1.45],
      fill: 0.9,
      ground: ['0.42,0.41,0.4', '0.34,0.33,0.32'],
      coat: [0.22, 0.22, 0.24],
      grey: 0.6,
      tint: [0.97, 1, 1.03],
      homeKey: [2.1, 2.0, 1.85],
      homeFill: 1,
      cloth: 1.1,
      tone: 'plum',
      houses: 13,
      day: true,
    },
  },
  {
    id: 'grass-person',
    body: 'person',
    yaw: 12,
    at: [-0.7, 0, 1.3],
    cameraHeight: 1.5,
    tilt: -2.5,
    focalPx: 980,
    sun: [-48, 40],
    exposure: 0.44,
    off: [-3, 16, -5],
    takeExposure: 0.55,
    light: {
      sunRgb: [2.6, 2.3, 1.85],
      fill: 0.75,
      ground: ['0.13,0.19,0.05', '0.08,0.13,0.035'],
      tint: [1.02, 1, 0.97],
      homeKey: [2.2, 2.05, 1.8],
      homeFill: 1.2,
      cloth: 0.9,
      tone: 'mustard',
      houses: 14,
      day: true,
    },
  },
  {
    id: 'low-grey',
    body: 'rabbit',
    yaw: 20,
    at: [-0.2, 0, -0.3],
    cameraHeight: 0.9,
    tilt: -4,
    focalPx: 1150,
    sun: [66, 24],
    exposure: 0.55,
    off: [3, -15, 5],
    takeExposure: 0.6,
    light: {
      sunRgb: [2.5, 1.55, 0.85],
      fill: 0.5,
      coat: [0.75, 0.75, 0.78],
      grey: 1,
      contrast: 1.25,
      homeKey: [2.35, 2.1, 1.8],
      homeFill: 0.8,
      cloth: 1,
      tone: 'plum',
      houses: 15,
    },
  },
  {
    id: 'dim-film',
    body: 'rabbit',
    yaw: -25,
    at: [-0.4, 0, -0.2],
    cameraHeight: 1.6,
    tilt: -10,
    focalPx: 1050,
    sun: [-58, 44],
    exposure: 0.3,
    off: [-4, 12, 5],
    takeExposure: 0.86,
    light: {
      sunRgb: [2.3, 1.9, 1.5],
      fill: 0.6,
      ground: ['0.24,0.2,0.17', '0.17,0.145,0.12'],
      tint: [1.03, 1, 0.95],
      homeKey: [2.35, 2.1, 1.8],
      homeFill: 1,
      cloth: 1,
      tone: 'mustard',
      houses: 16,
    },
  },
  {
    id: 'high-key',
    body: 'hound',
    yaw: 20,
    at: [-0.3, 0, 0.2],
    cameraHeight: 1.3,
    tilt: -6,
    focalPx: 1020,
    sun: [-74, 36],
    exposure: 0.7,
    off: [4, 16, -4],
    takeExposure: 0.48,
    light: {
      sunRgb: [1.9, 1.8, 1.65],
      fill: 1.1,
      ground: ['0.7,0.69,0.68', '0.6,0.59,0.58'],
      coat: [1.2, 1.3, 1.4],
      grey: 0.5,
      tint: [1, 1, 1],
      contrast: 1.05,
      homeKey: [2.4, 2.3, 2.1],
      homeFill: 1.4,
      cloth: 0.8,
      tone: 'plum',
      houses: 17,
      day: true,
    },
  },
  {
    id: 'pale-person',
    body: 'person',
    yaw: -15,
    at: [-0.5, 0, 1.1],
    cameraHeight: 1.4,
    tilt: -2,
    focalPx: 1000,
    sun: [38, 52],
    exposure: 0.46,
    off: [3, -18, -6],
    takeExposure: 0.9,
    light: {
      sunRgb: [2.1, 1.9, 1.65],
      fill: 0.9,
      ground: ['0.33,0.31,0.29', '0.26,0.245,0.23'],
      coat: [1.9, 1.9, 1.9],
      grey: 0.5,
      tint: [1.02, 1, 0.97],
      homeKey: [1.8, 1.65, 1.45],
      homeFill: 1.5,
      cloth: 1.1,
      tone: 'plum',
      houses: 18,
      day: true,
    },
  },
  {
    id: 'brick-grey',
    body: 'hound',
    yaw: -52,
    at: [-0.1, 0, 0],
    cameraHeight: 1.6,
    tilt: -9,
    focalPx: 1050,
    sun: [-20, 50],
    exposure: 0.6,
    off: [-4, -14, 6],
    takeExposure: 0.68,
    light: {
      sunRgb: [1.8, 1.5, 1.15],
      fill: 0.7,
      ground: ['0.32,0.15,0.095', '0.24,0.11,0.075'],
      coat: [0.7, 0.7, 0.72],
      grey: 0.9,
      tint: [1.03, 1, 0.96],
      homeKey: [2.3, 2.15, 1.95],
      homeFill: 0.7,
      cloth: 1,
      tone: 'mustard',
      houses: 19,
    },
  },
  {
    id: 'brown-back',
    body: 'rabbit',
    yaw: 15,
    at: [-0.1, 0, -0.2],
    cameraHeight: 1.0,
    tilt: -5,
    focalPx: 1150,
    sun: [112, 42],
    exposure: 0.8,
    off: [3, -10, 5],
    takeExposure: 0.75,
    light: {
      sunRgb: [2.2, 1.75, 1.25],
      fill: 0.9,
      coat: [0.4, 0.4, 0.42],
      grey: 0.2,
      contrast: 1.15,
      homeKey: [2.1, 1.95, 1.7],
      homeFill: 1.1,
      cloth: 0.95,
      tone: 'mustard',
      houses: 20,
    },
  },
];

export const DAY_SKY =
  'sky_sphere{ pigment{ gradient y color_map{ ' +
  '[0 rgb<0.95,0.97,1.0>*1.5][0.15 rgb<0.7,0.82,1.0>*1.3][0.7 rgb<0.3,0.5,0.85>] } } }\n';
