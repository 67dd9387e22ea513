/** Things that pass before a performer, the camera that sees them and the set behind, as the tracer reads them. */
import { aim, type Camera } from '../demo/scenes/camera.js';
import { passenger } from '../demo/scenes/people.js';
import { seeded, wander } from '../demo/scenes/random.js';
import type { Vec3 } from '../demo/scenes/vector.js';

export const W = 640,
  H = 360,
  FRAMES = 24;
export type Thing = 'post' | 'bollard' | 'rail' | 'column' | 'door' | 'walker';
export type Move = 'locked' | 'pan' | 'travel' | 'push' | 'hand';

/** Where the camera stands on a frame, and where it looks. */
export function cameraAt(move: Move, n: number, seed: number, focalPx: number): Camera {
  const t = n / (FRAMES - 1);
  const s = t * t * (3 - 2 * t);
  const r = seeded(seed * 7 + 3);
  const side = r() < 0.5 ? -1 : 1;
  const long = 0.8 + 0.5 * r();
  const shake = (k: number): number => wander(seed * 31 + k, n / 24);
  const place: Vec3 = [0, 1.5, -6];
  if (move === 'pan') return aim(place, side * (-7 + 14 * s), -3 + 0.5 * s, focalPx, 0, W, H);
  if (move === 'travel')
    return aim([side * long * (s - 0.5), 1.5, -6 + 0.25 * s], side * 2 * (s - 0.5), -3, focalPx, 0, W, H);
  if (move === 'push')
    return aim(
      [0.06 * shake(1), 1.5 + 0.02 * shake(2), -6 + 1.1 * s],
      side * (-2 + 4 * s) + 0.25 * shake(3),
      -3 + 0.2 * shake(4),
      focalPx,
      0.2 * shake(5),
      W,
      H,
    );
  if (move === 'hand')
    return aim(
      [0.12 * shake(1), 1.5 + 0.05 * shake(2), -6 + 0.1 * shake(6)],
      1.2 * shake(3),
      -3 + 0.7 * shake(4),
      focalPx,
      0.6 * shake(5),
      W,
      H,
    );
  return aim(place, 0, -3, focalPx, 0, W, H);
}

/** A paint as streets have them: dark to light grey, tinted a little. */
function toneOf(r: () => number): string {
  const grey = 0.04 + 0.5 * r() ** 2;
  return [r(), r(), r()].map((c) => (grey * (0.75 + 0.5 * c)).toFixed(3)).join(',');
}

/** The set: a patterned wall, boxes and thin poles at several distances, a patterned ground. */
export function setText(seed: number): string {
  const r = seeded(seed);
  const tone = (): string => toneOf(r);
  let out =
    'global_settings{assumed_gamma 1.0}\nbackground{rgb<0.5,0.6,0.8>}\n' +
    `light_source{<${(-30 + 60 * r()).toFixed(1)},40,-35> rgb 2.0}\nlight_source{<0,60,-60> rgb 0.6 shadowless}\n`;
  out +=
    'plane{y,0 pigment{granite scale 1.4 color_map{[0 rgb<0.12,0.11,0.1>][0.6 rgb<0.36,0.33,0.29>]}} ' +
    'finish{ambient 0 diffuse 0.85}}\n';
  out +=
    `box{<-30,0,9>,<30,9,10> texture{pigment{brick pigment{rgb<${tone()}>} ` +
    `pigment{granite scale 0.6 color_map{[0 rgb<${tone()}>][0.7 rgb<${tone()}>]}} ` +
    'brick_size <0.9,0.35,0.5> mortar 0.05} finish{ambient 0 diffuse 0.8}}}\n';
  for (let i = 0; i < 14; i++) {
    const x = -9 + 18 * r();
    const z = 1.5 + 7 * r();
    const wide = 0.25 + 0.9 * r();
    const high = 0.4 + 2.6 * r();
    out +=
      r() < 0.35
        ? `cylinder{<${x.toFixed(3)},0,${z.toFixed(3)}>,<${x.toFixed(3)},${(high + 1.5).toFixed(3)},${z.toFixed(3)}` +
          `>,${(0.04 + 0.06 * r()).toFixed(3)} pigment{rgb<${tone()}>} finish{ambient 0 diffuse 0.85}}\n`
        : `box{<${(x - wide / 2).toFixed(3)},0,${z.toFixed(3)}>,<${(x + wide / 2).toFixed(3)},${high.toFixed(3)},` +
          `${(z + 0.5).toFixed(3)}> texture{pigment{bozo turbulence 0.6 scale ${(0.1 + 0.3 * r()).toFixed(3)} ` +
          `color_map{[0 rgb<${tone()}>][1 rgb<${tone()}>]}} finish{ambient 0 diffuse 0.85}}}\n`;
  }
  return out;
}

/**
 * What passes: its parts' text with a texture of its own or the given one, and outlines of straight parts in the world.
 */
interface Front {
  text(n: number, texture: string | null): string;
  readonly parts: readonly (readonly Vec3[])[] | null;
}

/** A place of the ground, metres: aside, and depth. */
type Place = readonly [x: number, z: number];

/** A thing that passes, made of uprights: their text and their outline in the world. */
interface Upright {
  readonly text: (texture: string | null) => string;
  readonly part: Vec3[];
}

/** An upright at (x, z) of the ground from y0 up to y1, metres, in the paint `own` where no other is given. */
function uprightAt([x, z]: Place, radius: number, [y0, y1]: readonly [number, number], own: string): Upright {
  return {
    text: (t) =>
      `cylinder{<${x.toFixed(4)},${y0},${z.toFixed(4)}>,<${x.toFixed(4)},${y1},${z.toFixed(4)}>,` +
      `${radius.toFixed(4)} ${t ?? own} no_shadow}\n`,
    part: [
      [x - radius, y1, z],
      [x + radius, y1, z],
      [x + radius, y0, z],
      [x - radius, y0, z],
    ],
  };
}

/** A railing: three bars under a beam. */
function railAt([x, z]: Place, paint: string): Front {
  const bars = [-0.55, -0.1, 0.35].map((d) => uprightAt([x + d, z], 0.02, [0.6, 1.4], paint));
  const y = 1.42;
  const top: Vec3[] = [
    [x - 2.4, y + 0.025, z],
    [x + 2.4, y + 0.025, z],
    [x + 2.4, y - 0.025, z],
    [x - 2.4, y - 0.025, z],
  ];
  const beam = (t: string | null): string =>
    `cylinder{<${(x - 2.4).toFixed(3)},${y},${z.toFixed(4)}>,<${(x + 2.4).toFixed(3)},${y},${z.toFixed(4)}` +
    `>,0.025 ${t ?? paint} no_shadow}\n`;
  return { text: (_, t) => beam(t) + bars.map((b) => b.text(t)).join(''), parts: [top, ...bars.map((b) => b.part)] };
}

/** The edge of a door or wall that fills the picture on one side of x. */
function doorAt([x, z]: Place, side: 1 | -1, paint: string): Front {
  const a = side < 0 ? x - 4 : x;
  const b = side < 0 ? x : x + 4;
  return {
    text: (_, t) =>
      `box{<${a.toFixed(3)},-0.5,${z.toFixed(3)}>,<${b.toFixed(3)},4,${(z + 0.04).toFixed(3)}> ${t ?? paint} ` +
      'no_shadow}\n',
    parts: [
      [
        [a, 4, z],
        [b, 4, z],
        [b, -0.5, z],
        [a, -0.5, z],
      ],
    ],
  };
}

/** Somebody who walks through, from one side to the other; its outline is of no straight parts. */
function walkerFrom(from: 1 | -1, seed: number): Front {
  return {
    text: (n, t) => {
      const s = n / (FRAMES - 1);
      const body = passenger(
        { position: [from * (-0.75 + 1.5 * s), 0, -2.6], yaw: -90 * from, stride: 0.15 + 1.2 * s },
        seed % 2 === 0 ? 'plum' : 'mustard',
      );
      return t === null ? body : `union{ ${body} ${t} }`;
    },
    parts: null,
  };
}

/** The thing of a seed: where it stands, how thick it is, its paint. */
export function frontOf(thing: Thing, seed: number): Front {
  const r = seeded(seed * 13 + 5);
  const at: Place = [-0.25 + 0.5 * r(), -3.4 + 0.8 * r()];
  const side = (): 1 | -1 => (r() < 0.5 ? -1 : 1);
  const one = ({ text, part }: Upright): Front => ({ text: (_, t) => text(t), parts: [part] });
  const tone = toneOf(r);
  const paint = `texture{pigment{rgb<${tone}>} finish{ambient 0 diffuse 0.85}}`;
  switch (thing) {
    case 'post':
      return one(uprightAt(at, 0.035 + 0.03 * r(), [0, 5], paint));
    case 'column':
      return one(
        uprightAt(
          at,
          0.16,
          [0, 5],
          `texture{pigment{granite scale 0.25 color_map{[0 rgb<${tone}>][0.7 rgb<0.45,0.42,0.38>]}} ` +
            'finish{ambient 0 diffuse 0.85}}',
        ),
      );
    case 'bollard':
      return one(uprightAt(at, 0.07, [0.95, 1.55], paint));
    case 'rail':
      return railAt(at, paint);
    case 'door':
      return doorAt(at, side(), paint);
    case 'walker':
      return walkerFrom(side(), seed);
  }
}
