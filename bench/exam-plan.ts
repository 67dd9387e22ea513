/**
 * What an exam scene is, drawn from its seed alone (exam-scenes.ts makes it): place, lens, camera move, key and fill,
 * the film's look, the creature, and the take with its own camera, lamp, white and exposure. Ranges are by eye over
 * what films and homes show (common practice, no source); none was chosen by looking at a join's score.
 */
import { aim, project, type Camera } from '../demo/scenes/camera.js';
import { noiseTile, type Finish } from '../demo/scenes/look.js';
import { wander } from '../demo/scenes/random.js';
import { DEG, ease, unit, type Vec3 } from '../demo/scenes/vector.js';
import { daylightXy, linearOfWhite, planckianXy } from '../src/colour/temperature.js';
import { RandomStream } from '../src/core/random.js';
import { makeCreature, type Creature } from './exam-creature.js';
import { makeSet, PLACES, type ExamSet, type HomeScreen, type Lamps, type Place } from './exam-sets.js';

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

/** Linear RGB of a white of a temperature, luminance 1. */
export function whiteOf(kelvin: number): Vec3 {
  const w = linearOfWhite(kelvin >= 4000 ? daylightXy(kelvin) : planckianXy(kelvin));
  const y = 0.2126 * w[0] + 0.7152 * w[1] + 0.0722 * w[2];
  return [w[0] / y, w[1] / y, Math.max(0.02, w[2] / y)];
}

const times = (a: Vec3, k: number): Vec3 => [a[0] * k, a[1] * k, a[2] * k];

/**
 * Towards a key that stands at an azimuth beside a line of sight that heads so many degrees (0 =
 * from behind the camera, positive = from its right).
 */
function keyTowards(headingDeg: number, azimuthDeg: number, elevationDeg: number): Vec3 {
  const a = (headingDeg + 180 - azimuthDeg) * DEG;
  const e = elevationDeg * DEG;
  return [Math.sin(a) * Math.cos(e), Math.sin(e), Math.cos(a) * Math.cos(e)];
}

/** A camera at a height and distance of the origin that shows the foot in a row of the picture. */
function cameraOf(
  x: number,
  height: number,
  far: number,
  focalPx: number,
  row: number,
  w: number,
  h: number,
  heading = 0,
  roll = 0,
): Camera {
  const tilt = -(Math.atan2(height, far) - Math.atan2(row - h / 2, focalPx)) / DEG;
  return aim([x, height, -far], heading, tilt, focalPx, roll, w, h);
}

export function planOf(seed: number): ExamPlan {
  const random = new RandomStream(seed, 77);
  const u = (a: number, b: number): number => a + (b - a) * random.uniform();
  const sign = (): number => (random.uniform() < 0.5 ? -1 : 1);
  const place = PLACES[seed % 4]!;
  const move = MOVES[(seed + Math.floor(seed / 4)) % 4]!;
  const creature = makeCreature(seed, seed);
  const wide = move === 'locked' && random.uniform() < 0.4;
  const w = wide ? 960 : 640;
  const h = wide ? 540 : 360;
  const frames = move === 'locked' ? 24 : 16;
  // Lens, and from it how far the camera stands for a creature of a share of the picture.
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
  const shakeDeg = (0.5 * Math.atan(20 / focalPx)) / DEG;
  const base = cameraOf(0, high, far, focalPx, row, w, h);
  const tilt = Math.asin(base.forward[1]) / DEG;
  const camera = (f: number): Camera => {
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
  const mid = camera((frames - 1) / 2);
  const bearing = Math.atan2(at[0] - mid.position[0], at[2] - mid.position[2]) / DEG;
  const flat = Math.hypot(at[0] - mid.position[0], at[2] - mid.position[2]);
  const set = makeSet(random, place, { far, perPx: 1 / focalPx, widthPx: w, heightPx: h });
  const azimuth = sign() * u(15, 125);
  const elevation = place === 'room' ? u(28, 58) : u(22, 62);
  const kelvin = place === 'room' ? u(2800, 4600) : u(4200, 6000);
  const indoorFar = u(2.2, 4);
  const lamp = (
    heading: number,
    az: number,
    el: number,
    k: number,
    soft: number,
    away: number,
    ratio: number,
    fillK: number,
  ): Lamps => {
    const t = unit(keyTowards(heading, az, el));
    return { towards: t, key: whiteOf(k), softDeg: soft, far: away, fill: times(whiteOf(fillK), t[1] / ratio) };
  };
  const lamps =
    place === 'room'
      ? lamp(bearing, azimuth, elevation, kelvin, u(0.8, 9), indoorFar, u(1.3, 4.5), u(3000, 6500))
      : lamp(
          bearing,
          azimuth,
          elevation,
          kelvin,
          random.uniform() < 0.35 ? u(2, 6) : 0.53,
          120,
          u(2, 6.5),
          u(6500, 11000),
        );
  const scale = w / 640;
  const law = (['middle', 'darks', 'even'] as const)[random.below(3)]!;
  const lift = u(0, 1) ** 2 * 0.022;
  const look: Look = {
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
  const yaw0 = u(-180, 180);
  const sway = random.uniform() < 0.7 ? 0 : u(3, 8);
  const yaw = (f: number): number => yaw0 + sway * Math.sin((2 * Math.PI * 0.8 * f) / frames);
  // The take: as a brief would ask, or off by what hands are off by.
  const fits = random.uniform() < 0.5;
  const kh = 1 + (fits ? u(-0.04, 0.04) : sign() * u(0.1, 0.2));
  const kd = 1 + (fits ? u(-0.05, 0.05) : sign() * u(0.1, 0.2));
  const daz = fits ? u(-8, 8) : sign() * u(12, 32);
  const del = fits ? u(-5, 5) : sign() * u(6, 14);
  const takeFar = kd * flat;
  const takeHigh = kh * high;
  const middle = creature.height / 2;
  const away = Math.hypot(takeFar, takeHigh - middle);
  const takeFocal = Math.min((0.56 * h * away) / creature.height, (0.4 * w * away) / (1.15 * creature.half + 0.15));
  const takeTilt = -Math.atan2(takeHigh - middle, takeFar) / DEG;
  const takeCamera = aim([0, takeHigh, -takeFar], 0, takeTilt, takeFocal, 0, w, h);
  const colour = seed % 5 === 3 ? 'garden' : random.uniform() < 0.65 ? 'green' : 'blue';
  const window = random.uniform() < 0.4;
  const takeLamps = lamp(
    0,
    azimuth + daz,
    Math.max(15, elevation + del),
    colour === 'garden' ? u(4600, 5800) : u(2900, 6200),
    colour === 'garden' ? 0.53 : window ? u(2, 5) : u(1, 8),
    colour === 'garden' || window ? 120 : u(2, 3.4),
    u(1.1, 3.5),
    colour === 'garden' ? u(7000, 10000) : u(3200, 6500),
  );
  const pegSide = Math.sin((azimuth + daz) * DEG) > 0 ? -1 : 1;
  const cloth: Vec3 =
    colour === 'blue' ? [u(0.03, 0.07), u(0.08, 0.14), u(0.3, 0.48)] : [u(0.04, 0.08), u(0.28, 0.42), u(0.07, 0.13)];
  const takeLook: Look = {
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
  return {
    seed,
    place,
    move,
    frames,
    millimetres,
    camera,
    set,
    lamps,
    look,
    creature,
    at,
    yaw,
    take: {
      camera: takeCamera,
      yaw: (f) => yaw(f) - bearing,
      lamps: takeLamps,
      look: takeLook,
      colour,
      far: takeFar,
      off: [daz, kh - 1, kd - 1],
      screen: {
        cloth,
        folds: u(0.3, 1.4),
        peg: [pegSide * (creature.half + 0.1 * creature.height + 0.05), 0, -0.1],
        pegHeight: Math.round(200 * creature.height) / 500,
      },
      garden:
        colour === 'garden'
          ? makeSet(random, 'garden', { far: takeFar, perPx: 1 / takeFocal, widthPx: w, heightPx: h })
          : null,
    },
    words:
      `${place}, ${move}, ${millimetres.toFixed(0)} mm, ` +
      `key ${azimuth.toFixed(0)}° / ${elevation.toFixed(0)}° ${lamps.softDeg > 1.5 ? 'soft' : 'hard'}; ` +
      `${creature.name}, ${(share * 100).toFixed(0)} % of the picture; ` +
      `take ${colour}, ${fits ? 'fits' : `off ${daz.toFixed(0)}°`}`,
  };
}

/** Whether a world point is seen. */
export function seen(c: Camera, p: Vec3, marginPx = 4): boolean {
  const [x, y] = project(c, p);
  return x > marginPx && y > marginPx && x < c.widthPx - marginPx && y < c.heightPx - marginPx;
}
