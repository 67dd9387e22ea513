/**
 * The take of an exam scene, drawn after its film (exam-plan.ts): as a brief would ask, or off by what hands are off
 * by.
 */
import { aim } from '../demo/scenes/camera.js';
import { noiseTile } from '../demo/scenes/look.js';
import { DEG, type Vec3 } from '../demo/scenes/vector.js';
import type { Creature } from './exam-creature.js';
import { lampsFrom } from './exam-lamps.js';
import type { Draws, ExamPlan, Frame, Look } from './exam-plan.js';
import { makeSet, type Lamps } from './exam-sets.js';

export interface TakeFor {
  readonly seed: number;
  readonly creature: Creature;
  readonly frame: Frame;
  /** Distance over the ground and height of the film's camera in the middle of the shot, metres. */
  readonly flat: number;
  readonly high: number;
  /** The film's key beside the line of sight, degrees. */
  readonly azimuth: number;
  readonly elevation: number;
}

type Take = ExamPlan['take'];

export function takeOf(draws: Draws, of: TakeFor): { readonly take: Omit<Take, 'yaw'>; readonly fits: boolean } {
  const { random, u, sign } = draws,
    { seed, creature, azimuth } = of,
    { w, h } = of.frame;
  const fits = random.uniform() < 0.5;
  const kh = 1 + (fits ? u(-0.04, 0.04) : sign() * u(0.1, 0.2));
  const kd = 1 + (fits ? u(-0.05, 0.05) : sign() * u(0.1, 0.2));
  const daz = fits ? u(-8, 8) : sign() * u(12, 32);
  const del = fits ? u(-5, 5) : sign() * u(6, 14);
  const far = kd * of.flat,
    high = kh * of.high;
  const camera = cameraFor(of, far, high);
  const colour = seed % 5 === 3 ? 'garden' : random.uniform() < 0.65 ? 'green' : 'blue';
  const lamps = takeLamps(draws, colour, azimuth + daz, Math.max(15, of.elevation + del));
  const pegSide = Math.sin((azimuth + daz) * DEG) > 0 ? -1 : 1;
  const cloth: Vec3 =
    colour === 'blue' ? [u(0.03, 0.07), u(0.08, 0.14), u(0.3, 0.48)] : [u(0.04, 0.08), u(0.28, 0.42), u(0.07, 0.13)];
  const look = takeLook(draws, seed, of.frame);
  const folds = u(0.3, 1.4);
  return {
    fits,
    take: {
      camera,
      lamps,
      look,
      colour,
      far,
      off: [daz, kh - 1, kd - 1],
      screen: {
        cloth,
        folds,
        peg: [pegSide * (creature.half + 0.1 * creature.height + 0.05), 0, -0.1],
        pegHeight: Math.round(200 * creature.height) / 500,
      },
      garden:
        colour === 'garden'
          ? makeSet(random, 'garden', { far, perPx: 1 / camera.focalPx, widthPx: w, heightPx: h })
          : null,
    },
  };
}

/** A camera so far and so high before the creature's middle, its lens so long that the creature fills the picture. */
function cameraFor({ creature, frame: { w, h } }: TakeFor, far: number, high: number): Take['camera'] {
  const middle = creature.height / 2;
  const away = Math.hypot(far, high - middle);
  const focal = Math.min((0.56 * h * away) / creature.height, (0.4 * w * away) / (1.15 * creature.half + 0.15));
  return aim([0, high, -far], 0, -Math.atan2(high - middle, far) / DEG, focal, 0, w, h);
}

/** Lamps at home, a window, or the sun over the garden. */
function takeLamps({ random, u }: Draws, colour: Take['colour'], azimuth: number, elevation: number): Lamps {
  const window = random.uniform() < 0.4,
    garden = colour === 'garden';
  // The order of the fields is the order of the draws.
  return lampsFrom({
    heading: 0,
    azimuth,
    elevation,
    kelvin: garden ? u(4600, 5800) : u(2900, 6200),
    softDeg: garden ? 0.53 : window ? u(2, 5) : u(1, 8),
    far: garden || window ? 120 : u(2, 3.4),
    ratio: u(1.1, 3.5),
    fillKelvin: garden ? u(7000, 10000) : u(3200, 6500),
  });
}

/** What the home camera makes of it. */
function takeLook({ u }: Draws, seed: number, { w }: Frame): Look {
  const scale = w / 640;
  return {
    finish: {
      softness: scale * u(0.35, 0.7),
      glow: 0,
      lift: [0.002, 0.002, 0.002],
      grain: u(0.8, 2.8),
      noise: noiseTile(seed * 7 + 2, scale * u(0.4, 0.6), 0.25),
      contrast: u(1, 1.12),
    },
    mean: 0.17 * 2 ** u(-0.7, 0.5),
    balance: u(0.7, 1),
    grade: [u(0.97, 1.03), 1, u(0.97, 1.03)],
    law: 'even',
    crf: Math.round(u(17, 23)),
  };
}
