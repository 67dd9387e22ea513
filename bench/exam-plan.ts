/**
 * What an exam scene is, drawn from its seed alone (exam-scenes.ts makes it): place, lens, camera move, key and fill,
 * the film's look, the creature, and the take with its own camera, lamp, white and exposure. Ranges are by eye over
 * what films and homes show (common practice, no source); none was chosen by looking at a join's score.
 */
import { aim, project, type Camera } from '../demo/scenes/camera.js';
import { noiseTile, type Finish } from '../demo/scenes/look.js';
import { wander } from '../demo/scenes/random.js';
import { DEG, ease, type Vec3 } from '../demo/scenes/vector.js';
import { RandomStream } from '../src/core/random.js';
import { makeCreature, type Creature } from './exam-creature.js';
import { lampsFrom } from './exam-lamps.js';
import { makeSet, PLACES, type ExamSet, type HomeScreen, type Lamps, type Place } from './exam-sets.js';
import { takeOf } from './exam-take-plan.js';

export const MOVES = ['locked', 'pan', 'push', 'hand'] as const;
export type Move = (typeof MOVES)[number];

/** Grain over brightness (display code 0..1): most in the middle, in the darks, or alike. */
export const GRAIN_LAWS = {
  middle: (e: number) => 0.35 + 2.6 * e * (1 - e),
  darks: (e: number) => 1.3 - e,
  even: () => 1,
} as const;

export interface Look {
  readonly finish: Omit<Finish, 'exposure' | 'tint'>;
  /** Mean luminance that the exposure is set to. */
  readonly mean: number;
  /** Share of the light's departure from white that the balance takes out, and what the grade adds a channel. */
  readonly balance: number;
  readonly grade: Vec3;
  readonly law: keyof typeof GRAIN_LAWS;
  readonly crf: number;
}

export interface ExamPlan {
  readonly seed: number;
  readonly place: Place;
  readonly move: Move;
  readonly frames: number;
  readonly millimetres: number;
  readonly camera: (f: number) => Camera;
  readonly set: ExamSet;
  readonly lamps: Lamps;
  readonly look: Look;
  readonly creature: Creature;
  readonly at: Vec3;
  /** The creature's yaw in the film's world and in the take's, degrees. */
  readonly yaw: (f: number) => number;
  readonly take: {
    readonly camera: Camera;
    readonly yaw: (f: number) => number;
    readonly lamps: Lamps;
    readonly look: Look;
    readonly colour: 'green' | 'blue' | 'garden';
    readonly screen: HomeScreen;
    readonly garden: ExamSet | null;
    readonly far: number;
    /** How far the take is off: azimuth of its key, degrees; camera height and distance, shares. */
    readonly off: readonly [number, number, number];
  };
  readonly words: string;
}

/** The one stream of a plan's draws: every part takes from it in turn, so their order is part of the plan. */
export interface Draws {
  readonly random: RandomStream;
  /** Evenly between two values. */
  readonly u: (a: number, b: number) => number;
  readonly sign: () => number;
}

/** The picture's size, px. */
export interface Frame {
  readonly w: number;
  readonly h: number;
}

export function planOf(seed: number): ExamPlan {
  const random = new RandomStream(seed, 77);
  const draws: Draws = {
    random,
    u: (a, b) => a + (b - a) * random.uniform(),
    sign: () => (random.uniform() < 0.5 ? -1 : 1),
  };
  const place = PLACES[seed % 4]!;
  const move = MOVES[(seed + Math.floor(seed / 4)) % 4]!;
  const creature = makeCreature(seed, seed);
  const wide = move === 'locked' && random.uniform() < 0.4;
  const frame: Frame = wide ? { w: 960, h: 540 } : { w: 640, h: 360 };
  const frames = move === 'locked' ? 24 : 16;
  const film = filmOf(draws, { seed, move, creature, frame, frames });
  const { camera, at, far, high, focalPx } = film;
  const mid = camera((frames - 1) / 2);
  const bearing = Math.atan2(at[0] - mid.position[0], at[2] - mid.position[2]) / DEG;
  const flat = Math.hypot(at[0] - mid.position[0], at[2] - mid.position[2]);
  const set = makeSet(random, place, { far, perPx: 1 / focalPx, widthPx: frame.w, heightPx: frame.h });
  const { lamps, azimuth, elevation } = filmLamps(draws, place, bearing);
  const look = filmLook(draws, seed, frame);
  const yaw = yawOf(draws, frames);
  const { take, fits } = takeOf(draws, { seed, creature, frame, flat, high, azimuth, elevation });
  return {
    seed,
    place,
    move,
    frames,
    millimetres: film.millimetres,
    camera,
    set,
    lamps,
    look,
    creature,
    at,
    yaw,
    take: { ...take, yaw: (f) => yaw(f) - bearing },
    words:
      `${place}, ${move}, ${film.millimetres.toFixed(0)} mm, ` +
      `key ${azimuth.toFixed(0)}° / ${elevation.toFixed(0)}° ${lamps.softDeg > 1.5 ? 'soft' : 'hard'}; ` +
      `${creature.name}, ${(film.share * 100).toFixed(0)} % of the picture; ` +
      `take ${take.colour}, ${fits ? 'fits' : `off ${take.off[0].toFixed(0)}°`}`,
  };
}

interface Film {
  readonly millimetres: number;
  readonly focalPx: number;
  /** Height of the creature as a share of the picture's. */
  readonly share: number;
  /** How far and how high the camera stands, metres. */
  readonly far: number;
  readonly high: number;
  /** Where the creature stands. */
  readonly at: Vec3;
  readonly camera: (f: number) => Camera;
}

/** The film's lens, where its camera stands for a creature of a share of the picture, and how it moves. */
function filmOf(
  { random, u, sign }: Draws,
  of: Pick<ExamPlan, 'seed' | 'move' | 'creature' | 'frames'> & { readonly frame: Frame },
): Film {
  const { creature } = of,
    { w, h } = of.frame;
  const millimetres = 24 * (85 / 24) ** random.uniform();
  const focalPx = (millimetres / 36) * w;
  const share = u(0.3, 0.62);
  const far = Math.max(0.8, (focalPx * creature.height) / (share * h), (2 * focalPx * creature.half) / (0.55 * w));
  const high = Math.max(0.2, Math.min(u(0.45, 1.65), 0.5 * creature.height + far * Math.tan(26 * DEG)));
  const row = u(0.74, 0.88) * h;
  const half = (far * w) / (2 * focalPx);
  const at: Vec3 = [u(-0.3, 0.3) * half, 0, 0];
  const turn = (sign() * u(0.15, 0.4) * (2 * Math.atan(w / 2 / focalPx))) / DEG;
  const ahead = u(0.06, 0.2) * far;
  const aside = sign() * u(0, 0.16) * half;
  const base = cameraOf({ height: high, far, focalPx, row, ...of.frame });
  const camera = movedCamera(base, { ...of, focalPx, far, high, turn, ahead, aside });
  return { millimetres, focalPx, share, far, high, at, camera };
}

/** The film's camera over its frames: locked, panning, pushing in or in the hand. */
function movedCamera(
  base: Camera,
  by: Pick<ExamPlan, 'seed' | 'move' | 'frames'> &
    Pick<Film, 'focalPx' | 'far' | 'high'> & {
      readonly frame: Frame;
      /** Degrees of a pan, metres of a push ahead and aside. */
      readonly turn: number;
      readonly ahead: number;
      readonly aside: number;
    },
): (f: number) => Camera {
  const { seed, move, frames, focalPx, far, high, turn, ahead, aside } = by,
    { w, h } = by.frame;
  const shakeDeg = (0.5 * Math.atan(20 / focalPx)) / DEG;
  const tilt = Math.asin(base.forward[1]) / DEG;
  return (f) => {
    const t = f / (frames - 1);
    const s = f / 24;
    if (move === 'locked') return base;
    if (move === 'pan')
      return aim(base.position, turn * (ease(t) - 0.5), tilt + 0.06 * turn * (t - 0.5), focalPx, 0, w, h);
    if (move === 'push')
      return aim([aside * ease(t), high - 0.02 * ahead * t, -far + ahead * ease(t)], 0, tilt, focalPx, 0, w, h);
    const q = (k: number): number => wander(seed * 16 + k, s);
    return aim(
      [0.03 * q(1), high + 0.02 * q(2), -far + 0.03 * q(3)],
      shakeDeg * q(4),
      tilt + shakeDeg * q(5),
      focalPx,
      0.3 * shakeDeg * q(6),
      w,
      h,
    );
  };
}

/** Key and fill of the film's place, and where the key stands beside the line of sight, degrees. */
function filmLamps({ random, u, sign }: Draws, place: Place, heading: number) {
  const azimuth = sign() * u(15, 125);
  const elevation = place === 'room' ? u(28, 58) : u(22, 62);
  const kelvin = place === 'room' ? u(2800, 4600) : u(4200, 6000);
  const indoorFar = u(2.2, 4);
  const key = { heading, azimuth, elevation, kelvin };
  // The order of the fields is the order of the draws.
  const lamps =
    place === 'room'
      ? lampsFrom({
          ...key,
          softDeg: u(0.8, 9),
          far: indoorFar,
          ratio: u(1.3, 4.5),
          fillKelvin: u(3000, 6500),
        })
      : lampsFrom({
          ...key,
          softDeg: random.uniform() < 0.35 ? u(2, 6) : 0.53,
          far: 120,
          ratio: u(2, 6.5),
          fillKelvin: u(6500, 11000),
        });
  return { lamps, azimuth, elevation };
}

/** The film's softness, glow, lift, grain, contrast, exposure, balance and grade. */
function filmLook({ random, u }: Draws, seed: number, { w }: Frame): Look {
  const scale = w / 640;
  const law = (['middle', 'darks', 'even'] as const)[random.below(3)]!;
  const lift = u(0, 1) ** 2 * 0.022;
  return {
    finish: {
      softness: scale * u(0.35, 1.25),
      glow: u(0, 0.3),
      lift: [lift * u(0.8, 1.1), lift, lift * u(0.9, 1.4)],
      grain: u(0.8, 4.5),
      noise: noiseTile(seed * 7 + 1, scale * u(0.4, 0.95), u(0.2, 0.8)),
      contrast: u(1, 1.3),
    },
    mean: 0.15 * 2 ** u(-1, 0.7),
    balance: u(0.35, 1),
    grade: [u(0.96, 1.04), 1, u(0.95, 1.05)],
    law,
    crf: Math.round(u(15, 20)),
  };
}

/** How the creature is turned in the film's world; it sways in some. */
function yawOf({ random, u }: Draws, frames: number): (f: number) => number {
  const yaw0 = u(-180, 180);
  const sway = random.uniform() < 0.7 ? 0 : u(3, 8);
  return (f) => yaw0 + sway * Math.sin((2 * Math.PI * 0.8 * f) / frames);
}

/** A camera at a height and distance of the origin that shows the foot in a row of the picture. */
function cameraOf(
  at: Frame & { readonly height: number; readonly far: number; readonly focalPx: number; readonly row: number },
): Camera {
  const { height, far, focalPx, row, w, h } = at;
  const tilt = -(Math.atan2(height, far) - Math.atan2(row - h / 2, focalPx)) / DEG;
  return aim([0, height, -far], 0, tilt, focalPx, 0, w, h);
}

/** Whether a world point is seen. */
export function seen(c: Camera, p: Vec3, marginPx = 4): boolean {
  const [x, y] = project(c, p);
  return x > marginPx && y > marginPx && x < c.widthPx - marginPx && y < c.heightPx - marginPx;
}
