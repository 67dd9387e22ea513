/** Grounds, walls, benches and poles of the truth set's streets and rooms, as the tracer reads them. */
import { project, type Camera } from '../demo/scenes/camera.js';
import { BRICK, paint, plaster, wood } from '../demo/scenes/materials.js';
import { n, v, type Vec3 } from '../demo/scenes/vector.js';
import { RandomStream } from '../src/core/random.js';
import { GROUNDS } from './left-shadow-scenes.js';
import type { TruthKind } from './truth-set.js';

export const W = 640;
export const H = 360;

export const px = (c: Camera, p: Vec3): [number, number] => {
  const [x, y] = project(c, p);
  return [x, y];
};

type Draw = (a: number, b: number) => number;

/** A low bench of one flat front before the wall, and the corners of that front, clockwise from its top left. */
export function benchOf(
  side: number,
  back: number,
  u: Draw,
  kind: TruthKind,
): { readonly text: string; readonly corners: readonly [Vec3, Vec3, Vec3, Vec3] | null } {
  const z = back - u(0.35, 0.5);
  const wide = u(0.6, 1);
  const tall = u(0.35, 0.5);
  const x = -side * u(0, kind === 'pan' ? 0.4 : 0.8);
  const low = 0.05;
  return {
    text:
      `box{${v([x - wide, low, z])},${v([x + wide, tall, z + 0.3])} ` +
      `${wood('0.3,0.2,0.12', '0.45,0.31,0.19', 0.04)}}\n`,
    corners: [
      [x - wide, tall, z],
      [x + wide, tall, z],
      [x + wide, low, z],
      [x - wide, low, z],
    ],
  };
}

/** A thin pole between camera and performer, where both are in line in the middle of the shot. */
export function poleOf(camera: (f: number) => Camera, frames: number, far: number, ahead: number, u: Draw): string {
  const z = -far + ahead + u(0.3, 0.55) * (far - ahead);
  const c = camera(frames * u(0.35, 0.6)).position;
  const x = c[0] + ((0 - c[0]) * (z - c[2])) / (0 - c[2]);
  const g = u(0.03, 0.25);
  return (
    `cylinder{${v([x, 0, z])},${v([x, 3.6, z])},${n(u(0.025, 0.045))} ` +
    `${paint(`${n(g)},${n(g * u(0.8, 1.2))},${n(g * u(0.8, 1.2))}`)}}\n`
  );
}

/** Ground, wall with things on it, and a few things about. */
export function setText(random: RandomStream, ground: string, back: number, far: number, focalPx: number): string {
  const u = (a: number, b: number): number => a + (b - a) * random.uniform();
  const any = (): string => `${n(u(0.03, 0.6))},${n(u(0.03, 0.55))},${n(u(0.03, 0.55))}`;
  const half = ((back + far) * W) / (2 * focalPx);
  const tone = u(0.25, 0.6);
  const walls = [
    BRICK,
    plaster(
      `${n(tone)},${n(tone * u(0.8, 1))},${n(tone * u(0.65, 0.95))}`,
      `${n(0.8 * tone)},${n(0.7 * tone)},${n(0.6 * tone)}`,
    ),
    wood('0.2,0.15,0.11', '0.32,0.25,0.19', 0.09),
  ];
  let out =
    `plane{y,0 ${GROUNDS[ground]!} rotate y*${n(u(-30, 30))}}\n` +
    `box{<-30,0,${n(back)}>,<30,${n(u(3.5, 6))},${n(back + 0.4)}> ${walls[random.below(walls.length)]!}}\n`;
  for (let k = 0; k < 9; k++) {
    const x = u(-1.5, 1.5) * half;
    const y = u(0.7, 2.6);
    const w = u(0.1, 0.32);
    const h = u(0.1, 0.35);
    out +=
      `box{${v([x - w, y - h, back - 0.03])},${v([x + w, y + h, back + 0.01])} texture{pigment{crackle scale 0.1 ` +
      `color_map{[0 rgb<${any()}>][0.3 rgb<${any()}>][1 rgb<${any()}>]}} finish{ambient 0 diffuse 0.85}}}\n`;
  }
  for (const s of [-1, 1])
    out +=
      `cylinder{<${n(s * u(0.75, 1.3) * half)},0,${n(back - u(0.3, 0.9))}>,<${n(s * u(0.75, 1.3) * half)},3.6,` +
      `${n(back - u(0.3, 0.9))}>,0.05 ${paint(any())}}\n`;
  // Something beside the picture or off to the sun's side throws shade on to the wall now and then.
  if (random.uniform() < 0.5) {
    const s = random.uniform() < 0.5 ? -1 : 1;
    out +=
      `box{${v([s * 1.02 * half, 0, back - 1.6])},${v([s * 1.02 * half + s * 0.5, 4, back])} ` +
      `${plaster('0.4,0.4,0.38', '0.3,0.3,0.28')}}\n`;
  }
  return out;
}
