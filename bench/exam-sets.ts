/**
 * Random sets for the exam's scenes (exam-scenes.ts): a room, a street, a garden, a lawn, each with its own ground,
 * back, things about and uprights of known height, all drawn from a seed; and the home where the take is shot. World: x
 * right, y up, z away; the performer stands near the origin, the film's camera at (0, h, −far).
 */
import { mapTuple, three } from '../src/core/tuples.js';
import { n, unit, v, type Vec3 } from '../demo/scenes/vector.js';
import type { RandomStream } from '../src/core/random.js';
import { box, matt, rough, rgb, SetHand, type Frustum } from './exam-set-hand.js';
import { gardenPlace, lawnPlace, roomPlace, streetPlace, type DrawnPlace } from './exam-set-places.js';
import { dome } from './ground-lamps.js';

export const PLACES = ['room', 'street', 'garden', 'lawn'] as const;
export type Place = (typeof PLACES)[number];

export interface ExamSet {
  readonly text: string;
  /** Reflectance of the ground, for what it throws back. */
  readonly ground: Vec3;
  readonly uprights: readonly { readonly at: Vec3; readonly height: number }[];
  /** Two lines of the ground that run away from the camera; null where the ground shows none. */
  readonly lines: readonly (readonly [Vec3, Vec3])[] | null;
}

const DRAW: Readonly<Record<Place, (hand: SetHand) => DrawnPlace>> = {
  room: roomPlace,
  street: streetPlace,
  garden: gardenPlace,
  lawn: lawnPlace,
};

const SKY =
  'sky_sphere{pigment{gradient y color_map{[0 rgb<0.85,0.92,1>][0.2 rgb<0.55,0.72,1>][0.8 rgb<0.25,0.45,0.85>]}}}\n';

/** A set of its kind. `frustum` says what the camera sees at which depth. */
export function makeSet(random: RandomStream, place: Place, frustum: Frustum): ExamSet {
  const hand = new SetHand(random, frustum);
  const { text, ground, lines } = DRAW[place](hand);
  const posts = [-1, 1].map((side) => upright(hand, side));
  const things = Array.from({ length: 3 }, () => thing(hand));
  return {
    text: text + posts.map((p) => p.text).join('') + things.join('') + (place === 'room' ? '' : SKY),
    ground,
    uprights: posts.map(({ at, height }) => ({ at, height: Math.round(height * 1000) / 1000 })),
    lines,
  };
}

/** A post of known height to one side. */
function upright(hand: SetHand, side: number): { text: string; at: Vec3; height: number } {
  const z = hand.between(0.05, 0.4) * hand.frustum.far;
  const height = Math.min(1.2, hand.between(0.3, 0.55) * hand.tall(z));
  const at: Vec3 = [side * hand.between(0.52, 0.8) * hand.half(z), 0, z];
  const radius = hand.between(0.03, 0.07) * height;
  const coat = matt(hand.random.uniform() < 0.3 ? hand.grey(0.6, 0.85) : hand.colour());
  const text =
    `union{cylinder{<0,0,0>,<0,${n(height)},0>,${n(radius)}} ` +
    `cylinder{<0,${n(0.9 * height)},0>,<0,${n(0.96 * height)},0>,${n(1.3 * radius)}} ${coat} translate ${v(at)}}\n`;
  return { text, at, height };
}

/** A box or a ball at the picture's side. */
function thing(hand: SetHand): string {
  const side = hand.random.uniform() < 0.5 ? -1 : 1;
  const z = hand.between(0.2, 0.8) * hand.frustum.far;
  const x = side * hand.between(0.75, 1.05) * hand.half(z);
  const w = hand.between(0.06, 0.14) * hand.half(z);
  return hand.random.uniform() < 0.5
    ? box([x - w, 0, z - w], [x + w, hand.between(0.8, 2.4) * w, z + w], matt(hand.colour()))
    : `sphere{<${n(x)},${n(w)},${n(z)}>,${n(w)} ${rough(hand.colour(), 0.2, 0.4)}}\n`;
}

export interface Lamps {
  /**
   * Unit vector from the performer to the key, its colour (irradiance of a surface that
   * faces it), the angle it is seen under, degrees.
   */
  readonly towards: Vec3;
  readonly key: Vec3;
  readonly softDeg: number;
  /** Distance of the key, m: a sun's is large. */
  readonly far: number;
  /** Irradiance of level ground by the sky or the room. */
  readonly fill: Vec3;
}

/** Few lamps make the sky, so that a frame is traced in seconds. */
const SKY_LAMPS = 5;

/** Key, sky and what the ground throws back, as lamps. */
export function lampsText(l: Lamps, ground: Vec3): string {
  const at = (d: Vec3, far: number): Vec3 => [d[0] * far, d[1] * far, d[2] * far];
  const side = unit([l.towards[2], 0, -l.towards[0]]);
  const up: Vec3 = [
    side[1] * l.towards[2] - side[2] * l.towards[1],
    side[2] * l.towards[0] - side[0] * l.towards[2],
    side[0] * l.towards[1] - side[1] * l.towards[0],
  ];
  const wide = 2 * l.far * Math.tan((l.softDeg * Math.PI) / 360);
  const parallel = l.far > 50 ? 'parallel point_at 0' : '';
  // A near lamp's light falls with the square of the distance from where it was told.
  const fade = l.far > 50 ? '' : `fade_distance ${n(l.far)} fade_power 2`;
  const area =
    l.softDeg > 0.7 ? `area_light ${v(at(side, wide))},${v(at(up, wide))},5,5 adaptive 1 circular orient` : '';
  let out = `light_source{${v(at(l.towards, l.far))} rgb${v(l.key)} ${parallel} ${fade} ${area}}\n`;
  // The lattice's lowest lamps would throw shadows as long as the set.
  const sky = dome(SKY_LAMPS).map((d) => unit([d[0], Math.max(0.35, d[1]), d[2]]));
  const sum = sky.reduce((s, d) => s + d[1], 0);
  for (const d of sky)
    out += `light_source{${v(at(d, 90))} rgb${v(mapTuple(l.fill, (c) => c / sum))} parallel point_at 0}\n`;
  const level = three((k) => (l.fill[k] + l.key[k] * Math.max(0, l.towards[1])) * ground[k]);
  for (const a of [0, 2.1, 4.2])
    out +=
      `light_source{${v([60 * Math.cos(a), -60, 60 * Math.sin(a)])} ` +
      `rgb${v(mapTuple(level, (c) => (1.2 * c) / 3))} shadowless parallel point_at 0}\n`;
  return out;
}

export interface HomeScreen {
  readonly cloth: Vec3;
  readonly folds: number;
  readonly peg: Vec3;
  readonly pegHeight: number;
}

/**
 * Floor and wall of cloth with a hollow between, a peg painted like it, and the cloth's own light thrown back from
 * behind.
 */
export function homeText(s: HomeScreen, far: number, level: Vec3): string {
  const k = s.folds;
  const cloth = (turn: number): string =>
    'texture{pigment{bozo turbulence 0.3 scale 0.9 ' +
    `color_map{[0.2 ${rgb(s.cloth, 1 - 0.12 * k)}][0.8 ${rgb(s.cloth, 1 + 0.08 * k)}]}} ` +
    `normal{average normal_map{[1 wrinkles ${n(0.5 * k)} scale 0.55][0.7 waves ${n(0.35 * k)} rotate x*${turn} ` +
    `turbulence 0.5 scale 0.8][0.4 bumps ${n(0.4 * k)} scale 0.05]}} finish{ambient 0 diffuse 0.9}}`;
  const wall = 0.35 * far + 0.6;
  const r = 0.3;
  return (
    `plane{y,0 ${cloth(0)}}\nplane{-z,${n(-wall)} ${cloth(90)} no_shadow}\n` +
    `difference{box{<-9,0,${n(wall - r)}>,<9,${r},${n(wall)}>} ` +
    `cylinder{<-10,${r},${n(wall - r)}>,<10,${r},${n(wall - r)}>,${r}} ${cloth(45)} no_shadow}\n` +
    `cylinder{0,<0,${n(s.pegHeight)},0>,${n(0.03 * s.pegHeight)} ` +
    `${matt(mapTuple(s.cloth, (c) => 0.8 * c))} translate ${v(s.peg)}}\n` +
    `light_source{<0,14,60> rgb${v(mapTuple(level, (c, i) => 0.45 * c * s.cloth[i]!))} shadowless ` +
    'parallel point_at 0}\n'
  );
}
