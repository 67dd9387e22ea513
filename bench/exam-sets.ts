/**
 * Random sets for the exam's scenes (exam-scenes.ts): a room, a street, a garden, a lawn, each with its own ground,
 * back, things about and uprights of known height, all drawn from a seed; and the home where the take is shot. World: x
 * right, y up, z away; the performer stands near the origin, the film's camera at (0, h, −far).
 */
import { mapTuple, three } from '../src/core/tuples.js';
import { n, unit, v, type Vec3 } from '../demo/scenes/vector.js';
import type { RandomStream } from '../src/core/random.js';
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

export interface Frustum {
  readonly far: number;
  readonly perPx: number;
  readonly widthPx: number;
  readonly heightPx: number;
}

const rgb = (c: Vec3, k = 1): string =>
  `rgb<${c.map((x) => Math.min(0.92, Math.max(0.004, x * k)).toFixed(4)).join(',')}>`;
const matt = (c: Vec3): string => `texture{pigment{${rgb(c)}} finish{ambient 0 diffuse 0.9}}`;
const rough = (c: Vec3, scale: number, depth: number, bump = 0.2): string =>
  `texture{pigment{granite scale ${n(scale)} ` +
  `color_map{[0.1 ${rgb(c, 1 - depth)}][0.7 ${rgb(c, 1 + 0.6 * depth)}]}} ` +
  `normal{bumps ${n(bump)} scale ${n(scale / 20)}} finish{ambient 0 diffuse 0.9}}`;
const box = (a: Vec3, b: Vec3, m: string): string => `box{${v(a)},${v(b)} ${m}}\n`;

/** A set of its kind. `frustum` says what the camera sees at which depth. */
export function makeSet(random: RandomStream, place: Place, f: Frustum): ExamSet {
  const u = (a: number, b: number): number => a + (b - a) * random.uniform();
  const any = (): Vec3 => {
    const c: Vec3 = [u(0.04, 0.7), u(0.04, 0.6), u(0.04, 0.55)];
    const g = (c[0] + c[1] + c[2]) / 3;
    return mapTuple(c, (x) => 0.6 * x + 0.4 * g);
  };
  const grey = (lo: number, hi: number, tint = 0.08): Vec3 => {
    const g = u(lo, hi);
    return [g * (1 + u(-tint, tint)), g, g * (1 + u(-tint, tint))];
  };
  const half = (z: number): number => ((z + f.far) * f.perPx * f.widthPx) / 2;
  const tall = (z: number): number => (z + f.far) * f.perPx * f.heightPx;
  const back = u(0.5, 1) * f.far + u(0.6, 1.6);
  const parts: string[] = [];
  let ground: Vec3;
  let lines: [Vec3, Vec3][] | null = null;
  const line = (x: number): [Vec3, Vec3] => [
    [x, 0, -0.25 * f.far],
    [x, 0, Math.min(back - 0.1, 0.8 * f.far)],
  ];
  const shift = u(-0.1, 0.1) * half(0);
  if (place === 'room') {
    const kind = random.below(3);
    const board = u(0.09, 0.16);
    ground = kind === 0 ? [u(0.2, 0.45), u(0.12, 0.27), u(0.06, 0.15)] : kind === 1 ? grey(0.25, 0.6) : any();
    // Boards or tiles show lines; a carpet has a border to either side.
    if (kind < 2)
      parts.push(
        'plane{y,0 ' +
          'texture{pigment{' +
          (kind === 0
            ? `brick pigment{${rgb(ground, 0.45)}} pigment{bozo scale <0.02,1,0.5> ` +
              `color_map{[0 ${rgb(ground, 0.8)}][1 ${rgb(ground, 1.15)}]}} ` +
              `brick_size <${n(board)},3,1.7> mortar 0.004 rotate x*90`
            : `checker ${rgb(ground)} ${rgb(ground, 0.7)} scale ${n(2.4 * board)}`) +
          '} finish{ambient 0 diffuse 0.9}}}\n',
      );
    else parts.push(`plane{y,0 ${rough(ground, 0.12, 0.25, 0.4)}}\n`);
    lines = [line(-0.55 * half(0) + shift), line(0.55 * half(0) + shift)];
    parts.push(
      lines
        .map(([a, b]) =>
          box([a[0] - 0.006, 0, a[2] - 3], [a[0] + 0.006, 0.0015, b[2] + 0.1], matt(mapTuple(ground, (c) => 0.4 * c))),
        )
        .join(''),
    );
    const wall = grey(0.3, 0.75, 0.2);
    parts.push(
      `plane{-z,${n(-back)} ${rough(wall, 0.6, 0.06, 0.05)} no_shadow}\n`,
      box([-20, 0, back - 0.02], [20, 0.12, back + 1], matt(grey(0.4, 0.8))),
    );
    for (let k = 0; k < 4; k++) {
      const x = u(-0.9, 0.9) * half(back);
      const w = u(0.12, 0.4);
      const y = u(0.7, 1.6);
      const h = u(0.15, 0.4);
      parts.push(
        box([x - w - 0.03, y - 0.03, back - 0.03], [x + w + 0.03, y + h + 0.03, back], matt(any())),
        box([x - w, y, back - 0.04], [x + w, y + h, back], rough(any(), 0.2, 0.6)),
      );
    }
    for (let k = 0; k < 3; k++) {
      const x = u(-1, 1) * half(back);
      const w = u(0.3, 0.8);
      const h = u(0.35, 1.1);
      parts.push(box([x - w, 0, back - u(0.35, 0.6)], [x + w, h, back], rough(any(), 0.5, 0.25)));
    }
  } else if (place === 'street') {
    ground = grey(0.12, 0.42, 0.12);
    const slab = u(0.3, 0.6);
    parts.push(
      `plane{y,0 texture{pigment{brick pigment{${rgb(ground, 0.55)}} ` +
        `pigment{granite scale 0.5 color_map{[0.1 ${rgb(ground, 0.8)}][0.7 ${rgb(ground, 1.15)}]}} ` +
        `brick_size <${n(slab)},${n(slab)},${n(slab)}> mortar 0.012 rotate x*90} normal{bumps 0.2 scale 0.01} ` +
        'finish{ambient 0 diffuse 0.9}}}\n',
    );
    lines = [line(-0.6 * half(0) + shift), line(0.7 * half(0) + shift)];
    parts.push(
      lines
        .map(([a, b]) =>
          box([a[0] - 0.03, 0, a[2] - 4], [a[0] + 0.03, 0.002, b[2] + 0.1], matt(mapTuple(ground, (c) => 0.5 * c))),
        )
        .join(''),
    );
    const wide = u(2.5, 4);
    const tone = [any(), grey(0.2, 0.6), [0.36, 0.16, 0.1] as Vec3];
    for (let k = -5; k <= 5; k++) {
      const x = k * wide;
      const m = rough(tone[random.below(3)]!, 0.7, 0.2);
      parts.push(box([x, 0, back], [x + wide - 0.04, u(4, 7), back + 2], m));
      for (let j = 0; j < 3; j++)
        parts.push(
          box(
            [x + 0.3 + (j * (wide - 0.6)) / 3, 1.1, back - 0.03],
            [x + 0.3 + (j * (wide - 0.6)) / 3 + 0.55, 2.3, back + 0.1],
            matt(grey(0.02, 0.2)),
          ),
          box(
            [x + 0.25 + (j * (wide - 0.6)) / 3, 1.03, back - 0.08],
            [x + 0.9 + (j * (wide - 0.6)) / 3, 1.1, back],
            matt(grey(0.4, 0.7)),
          ),
        );
    }
  } else {
    ground = [u(0.07, 0.15), u(0.12, 0.2), u(0.025, 0.06)];
    parts.push(
      'plane{y,0 texture{pigment{granite scale <0.12,0.12,0.25> ' +
        `color_map{[0.1 ${rgb(ground, 0.5)}][0.45 ${rgb(ground)}][0.8 ${rgb(ground, 1.5)}]}} ` +
        'normal{bumps 0.7 scale 0.02} finish{ambient 0 diffuse 0.9}}}\n',
    );
    if (place === 'garden') {
      const wide = u(0.5, 0.7) * half(0);
      const path = grey(0.2, 0.5, 0.15);
      ground = path;
      lines = [line(-wide + shift), line(wide + shift)];
      parts.push(box([-wide + shift, -0.1, -20], [wide + shift, 0.004, back], rough(path, 0.25, 0.3)));
      const fence: Vec3 = [u(0.15, 0.5), u(0.1, 0.35), u(0.06, 0.25)];
      for (let x = -Math.ceil(half(back) * 1.5); x < half(back) * 1.5; x += 0.16)
        parts.push(
          box(
            [x, 0, back],
            [x + 0.145, 1.5 + u(-0.03, 0.03), back + 0.03],
            rough(
              mapTuple(fence, (c) => c * u(0.85, 1.1)),
              0.4,
              0.25,
            ),
          ),
        );
    } else {
      for (let k = 0; k < 7; k++) {
        const x = u(-1.3, 1.3) * half(back + 3);
        const z = back + u(1, 6);
        const h = u(2, 4);
        const leaf: Vec3 = [u(0.04, 0.1), u(0.08, 0.16), 0.03];
        parts.push(
          `cylinder{<${n(x)},0,${n(z)}>,<${n(x)},${n(h)},${n(z)}>,0.12 ${rough([0.12, 0.09, 0.06], 0.2, 0.4)}}\n`,
        );
        for (let j = 0; j < 5; j++)
          parts.push(
            `sphere{<${n(x + u(-0.9, 0.9))},${n(h + u(-0.4, 0.9))},${n(z + u(-0.6, 0.6))}>,${n(u(0.5, 1))} ` +
              `${rough(leaf, 0.5, 0.7, 1)}}\n`,
          );
      }
      parts.push(box([-40, 0, back + 7], [40, 1.8, back + 8], rough([0.05, 0.1, 0.03], 0.6, 0.6, 1)));
    }
    for (let k = 0; k < 9; k++) {
      const side = k % 2 === 0 ? -1 : 1;
      const z = u(0.3, 0.95) * back;
      const leaf: Vec3 = [u(0.04, 0.12), u(0.08, 0.19), u(0.02, 0.05)];
      for (let j = 0; j < 4; j++)
        parts.push(
          `sphere{<${n(side * (half(z) * u(0.75, 1.1)) + u(-0.2, 0.2))},${n(u(0.1, 0.35))},${n(z + u(-0.2, 0.2))}` +
            `>,${n(u(0.15, 0.35))} ${rough(leaf, 0.12, 0.8, 1)}}\n`,
        );
    }
  }
  // Two uprights of known height, and things beside them.
  const uprights = [-1, 1].map((s) => {
    const z = u(0.05, 0.4) * f.far;
    const h = Math.min(1.2, u(0.3, 0.55) * tall(z));
    const at: Vec3 = [s * u(0.52, 0.8) * half(z), 0, z];
    const r = u(0.03, 0.07) * h;
    parts.push(
      `union{cylinder{<0,0,0>,<0,${n(h)},0>,${n(r)}} ` +
        `cylinder{<0,${n(0.9 * h)},0>,<0,${n(0.96 * h)},0>,${n(1.3 * r)}} ` +
        `${matt(random.uniform() < 0.3 ? grey(0.6, 0.85) : any())} translate ${v(at)}}\n`,
    );
    return { at, height: Math.round(h * 1000) / 1000 };
  });
  for (let k = 0; k < 3; k++) {
    const s = random.uniform() < 0.5 ? -1 : 1;
    const z = u(0.2, 0.8) * f.far;
    const x = s * u(0.75, 1.05) * half(z);
    const w = u(0.06, 0.14) * half(z);
    parts.push(
      random.uniform() < 0.5
        ? box([x - w, 0, z - w], [x + w, u(0.8, 2.4) * w, z + w], matt(any()))
        : `sphere{<${n(x)},${n(w)},${n(z)}>,${n(w)} ${rough(any(), 0.2, 0.4)}}\n`,
    );
  }
  if (place !== 'room')
    parts.push(
      'sky_sphere{pigment{gradient y ' +
        'color_map{[0 rgb<0.85,0.92,1>][0.2 rgb<0.55,0.72,1>][0.8 rgb<0.25,0.45,0.85>]}}}\n',
    );
  return { text: parts.join(''), ground, uprights, lines };
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
 * Floor and wall of cloth with a hollow between, a peg painted like it, and the cloth's
 * own light thrown back from behind.
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
