/** The take of a made truth shot (truth-plan.ts): what the brief asked, off by what hands are off by. */
import { mapTuple } from '../src/core/tuples.js';
import type { RandomStream } from '../src/core/random.js';
import { sunFrom, viewFrom, type Camera } from '../demo/scenes/camera.js';
import { noiseTile } from '../demo/scenes/look.js';
import { DEG, type Vec3 } from '../demo/scenes/vector.js';
import { whiteOf } from './exam-lamps.js';
import type { Look } from './exam-plan.js';
import type { HomeScreen, Lamps } from './exam-sets.js';
import { H, W } from './truth-furniture.js';
import type { TruthPlan } from './truth-plan.js';
import { cameraShowing } from './truth-plan-words.js';

/** The one stream of a plan's draws; their order is part of the plan. */
export interface TruthDraws {
  readonly random: RandomStream;
  /** Evenly between two values. */
  readonly u: (a: number, b: number) => number;
  readonly sign: () => number;
  readonly pick: <T>(of: readonly T[]) => T;
}

/** A sun and its sky: temperatures in kelvin, `ratio` of the key's light on level ground over the fill's. */
export const lampsOf = (towards: Vec3, kelvin: number, ratio: number, softDeg: number, sky: number): Lamps => ({
  towards,
  key: whiteOf(kelvin),
  softDeg,
  far: 120,
  fill: mapTuple(whiteOf(sky), (c) => (c * towards[1]) / ratio),
});

/** What the take is made for. */
export interface TruthTakeFor {
  readonly carried: boolean;
  readonly seed: number;
  readonly heightM: number;
  readonly halfM: number;
  /** The film's view of the performer and its camera in the middle of the shot. */
  readonly view: ReturnType<typeof viewFrom>;
  readonly mid: Camera;
  /** The film's sun relative to its camera, degrees. */
  readonly azimuth: number;
  readonly elevation: number;
  readonly performerYaw: (f: number) => number;
  readonly lastFrame: number;
}

export function truthTake(draws: TruthDraws, of: TruthTakeFor) {
  const { u, sign, pick } = draws,
    { carried, seed, heightM, halfM, view, mid, performerYaw, lastFrame } = of;
  const fits = draws.random.uniform() < 0.55;
  const dView = fits ? u(-4, 5) : sign() * u(6, 12);
  const dAzimuth = fits ? u(-9, 9) : sign() * u(12, 45);
  const dElevation = fits ? u(-4, 4) : u(-8, 8);
  const rate = carried ? pick([0.75, 0.85, 1, 1.2]) : 1;
  const elevation = Math.min(35, Math.max(1, view.viewElevationDeg + dView));
  const far = u(1.8, 2.8);
  const camera = takeCamera(u, elevation, far, heightM, halfM);
  const sun = sunFrom(camera, of.azimuth + dAzimuth, Math.max(14, of.elevation + dElevation));
  const bearing = u(-4, 4) - (carried ? 0 : Math.atan2(-mid.position[0], -mid.position[2]) / DEG);
  const yaw = (f: number): number => performerYaw(Math.min(lastFrame, f * rate)) + bearing;
  const look = takeLook(u, seed);
  const lamps = takeLamps(draws, sun);
  const note =
    `Take against plate: camera looks down ${(elevation - view.viewElevationDeg).toFixed(1)} degrees more ` +
    `steeply; light ${dAzimuth.toFixed(1)} degrees further to camera right and ${dElevation.toFixed(1)} degrees ` +
    `higher; turning at ${rate} of the needed rate.`;
  const take: TruthPlan['take'] = { camera, lamps, look, screen: screenOf(u), yaw, far };
  return { take, rate, sun, note };
}

/** A camera that looks down on the performer's middle by so many degrees from so far, the picture well filled. */
function takeCamera(u: TruthDraws['u'], elevationDeg: number, far: number, heightM: number, halfM: number): Camera {
  const focal = Math.min((u(0.42, 0.55) * H * far) / heightM, (0.38 * W * far) / (2 * halfM));
  const e = elevationDeg * DEG;
  return cameraShowing(
    [u(-0.15, 0.15), heightM / 2 + far * Math.sin(e), -far * Math.cos(e)],
    [0, heightM / 2, 0],
    W / 2,
    H / 2,
    focal,
  );
}

function takeLook(u: TruthDraws['u'], seed: number): Look {
  return {
    finish: {
      softness: u(0.35, 0.6),
      glow: 0,
      lift: [0.002, 0.002, 0.002],
      grain: u(0.8, 2.4),
      noise: noiseTile(seed * 9 + 2, u(0.4, 0.6), 0.25),
      contrast: u(1, 1.1),
    },
    mean: TAKE_MEAN * 2 ** u(-0.7, 0.4),
    balance: u(0.7, 1),
    grade: [u(0.97, 1.03), 1, u(0.97, 1.03)],
    law: 'even',
    crf: Math.round(u(16, 21)),
  };
}

function takeLamps({ random, u }: TruthDraws, sun: Vec3): Lamps {
  return lampsOf(sun, u(3400, 6000), u(1.5, 3.5), random.uniform() < 0.4 ? u(2, 5) : 0.53, u(4000, 7000));
}

function screenOf(u: TruthDraws['u']): HomeScreen {
  return {
    cloth: [u(0.04, 0.08), u(0.28, 0.42), u(0.07, 0.13)],
    folds: u(0.3, 1.2),
    peg: [50, 0, 50],
    pegHeight: 0.1,
  };
}

/**
 * Mean luminance about which a take is exposed. A hand exposes for the animal: the practice set's four takes have means
 * of .18 (in a wall's shadow) to .35 and brightest coats (95 %) of .33 to .60. About .17, a meter's grey over a green
 * cloth, a white dog's brightest came out at .42 and ginger ones' at .26 to .40, and the same dogs in their films .3 to
 * 1.05 stop brighter: a maker would have seen that.
 */
const TAKE_MEAN = 0.27;
