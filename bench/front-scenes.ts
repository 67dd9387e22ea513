/**
 * Traced shots in which something passes before the set, with the true matte of what passes: posts, a bollard, a
 * railing, a column, a door's edge, a walking figure, under a locked, panning, travelling, pushing and hand-held
 * camera, by seed. Each folder holds the plate (H.264, grain), `truth-N.png` (cover of what passes, anti-aliased)
 * and `marks.json`: the front outlined once, in the middle of the shot, as a careful hand does it (sd .7 px), and
 * upright things of known height that tell the view. Needs `povray` and `ffmpeg`. Run: `npx tsx
 * bench/front-scenes.ts FOLDER [ids] [--seed=N]`.
 */
import { existsSync, mkdirSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { aim, project, type Camera } from '../demo/scenes/camera.js';
import { encode } from '../demo/scenes/encode.js';
import { passenger } from '../demo/scenes/people.js';
import { gaussian, seeded, wander } from '../demo/scenes/random.js';
import { trace } from '../demo/scenes/trace.js';
import { type Vec3 } from '../demo/scenes/vector.js';
import { bt709Encode } from '../src/colour/transfer.js';
import { createPicture } from '../src/image/picture.js';
import { outlinePolygon } from '../src/join/outline/outline-polygon.js';
import { writePng16 } from '../src/media/stills.js';
import type { Mark, MarksFile } from '../src/plate/marks.js';

export const W = 640,
  H = 360,
  FRAMES = 24;
type Thing = 'post' | 'bollard' | 'rail' | 'column' | 'door' | 'walker';
type Move = 'locked' | 'pan' | 'travel' | 'push' | 'hand';

export const CASES: readonly (readonly [Thing, Move])[] = [
  ['post', 'locked'],
  ['post', 'pan'],
  ['post', 'travel'],
  ['post', 'push'],
  ['post', 'hand'],
  ['bollard', 'travel'],
  ['bollard', 'hand'],
  ['rail', 'travel'],
  ['rail', 'hand'],
  ['column', 'travel'],
  ['column', 'push'],
  ['door', 'travel'],
  ['door', 'pan'],
  ['walker', 'locked'],
  ['walker', 'pan'],
  ['walker', 'travel'],
];
export const idOf = ([thing, move]: readonly [Thing, Move]): string => `${thing}-${move}`;

/** Where the camera stands on a frame, and where it looks. */
function cameraAt(move: Move, n: number, seed: number, focalPx: number): Camera {
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
function setText(seed: number): string {
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

function frontOf(thing: Thing, seed: number): Front {
  const r = seeded(seed * 13 + 5);
  const x = -0.25 + 0.5 * r();
  const z = -3.4 + 0.8 * r();
  const tone = toneOf(r);
  const paint = `texture{pigment{rgb<${tone}>} finish{ambient 0 diffuse 0.85}}`;
  const upright = (
    cx: number,
    radius: number,
    y0: number,
    y1: number,
    own: string,
  ): { text: (t: string | null) => string; part: Vec3[] } => ({
    text: (t) =>
      `cylinder{<${cx.toFixed(4)},${y0},${z.toFixed(4)}>,<${cx.toFixed(4)},${y1},${z.toFixed(4)}>,` +
      `${radius.toFixed(4)} ${t ?? own} no_shadow}\n`,
    part: [
      [cx - radius, y1, z],
      [cx + radius, y1, z],
      [cx + radius, y0, z],
      [cx - radius, y0, z],
    ],
  });
  if (thing === 'post') {
    const p = upright(x, 0.035 + 0.03 * r(), 0, 5, paint);
    return { text: (_, t) => p.text(t), parts: [p.part] };
  }
  if (thing === 'column') {
    const p = upright(
      x,
      0.16,
      0,
      5,
      `texture{pigment{granite scale 0.25 color_map{[0 rgb<${tone}>][0.7 rgb<0.45,0.42,0.38>]}} ` +
        'finish{ambient 0 diffuse 0.85}}',
    );
    return { text: (_, t) => p.text(t), parts: [p.part] };
  }
  if (thing === 'bollard') {
    const p = upright(x, 0.07, 0.95, 1.55, paint);
    return { text: (_, t) => p.text(t), parts: [p.part] };
  }
  if (thing === 'rail') {
    const bars = [-0.55, -0.1, 0.35].map((d) => upright(x + d, 0.02, 0.6, 1.4, paint));
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
  if (thing === 'door') {
    const e = x;
    const s = r() < 0.5 ? -1 : 1;
    const a = s < 0 ? e - 4 : e;
    const b = s < 0 ? e : e + 4;
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
  const from = r() < 0.5 ? -1 : 1;
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

const MARKED = Math.floor(FRAMES / 2);

async function make(folder: string, c: readonly [Thing, Move], seed: number): Promise<void> {
  const [thing, move] = c;
  const dir = join(folder, `${idOf(c)}-${seed}`);
  if (existsSync(join(dir, 'marks.json'))) return;
  mkdirSync(dir, { recursive: true });
  const r = seeded(seed * 101 + 17);
  const focalPx = 560 + 120 * r();
  const set = setText(seed);
  const front = frontOf(thing, seed);
  const options = { cache: folder, scale: 1.5, kept: new Map() };
  const rect = { x: 0, y: 0, w: W, h: H };
  const hand = (): number => 0.7 * gaussian(r);
  const grain = seeded(seed * 977);
  const marks: Mark[] = [];
  const sigma = 0.006 + 0.008 * r();
  async function* frames(): AsyncGenerator<Uint8Array> {
    for (let n = 0; n < FRAMES; n++) {
      const camera = cameraAt(move, n, seed, focalPx);
      const lit = await trace(set + front.text(n, null), camera, rect, options);
      // The figure's own paints cannot be replaced from outside: it is told from two flat grounds instead.
      const alone = (back: number): Promise<{ rgb: Float32Array }> =>
        trace(
          `global_settings{assumed_gamma 1.0}\nbackground{rgb ${back}}\n` +
            `light_source{<0,50,-50> rgb 0.4 shadowless}\n${front.text(n, null)}`,
          camera,
          rect,
          options,
        );
      const [dark, bright] = [await alone(0), await alone(1)];
      const truth = createPicture(W, H, 1);
      const out = new Uint8Array(3 * W * H);
      for (let i = 0; i < W * H; i++)
        truth.data[i] = Math.min(1, Math.max(0, 1 - (bright.rgb[3 * i + 1]! - dark.rgb[3 * i + 1]!)));
      for (let i = 0; i < 3 * W * H; i++)
        out[i] = Math.min(
          255,
          Math.max(0, Math.round(255 * (bt709Encode(Math.min(1, lit.rgb[i]!)) + sigma * gaussian(grain)))),
        );
      await writePng16(join(dir, `truth-${n}.png`), threefold(truth.data));
      if (n === MARKED) {
        for (const p of front.parts ?? [])
          marks.push({
            kind: 'front',
            frame: n,
            polygon: clipped(p.map((q) => project(camera, q))).map(([x, y]) => [x + hand(), y + hand()]),
          });
        if (front.parts === null)
          marks.push({
            kind: 'front',
            frame: n,
            polygon: outlinePolygon(
              Uint8Array.from(truth.data, (a) => (a >= 0.5 ? 1 : 0)),
              W,
              H,
              1,
              1,
            ).map(([x, y]) => [x + hand(), y + hand()]),
          });
        for (const at of [
          [-1.2, 1],
          [1.6, 3],
          [-2.4, 6],
        ] as const)
          marks.push({
            kind: 'upright',
            frame: n,
            foot: mark(project(camera, [at[0], 0, at[1]])),
            top: mark(project(camera, [at[0], 1.8, at[1]])),
            height: 1.8,
          });
      }
      yield out;
    }
  }
  const mark = (p: readonly [number, number]): [number, number] => [p[0] + hand(), p[1] + hand()];
  await encode(join(dir, 'plate.mp4'), frames(), { width: W, height: H, rate: '24', crf: 18 });
  writeFileSync(join(dir, 'marks.json'), JSON.stringify({ frame: MARKED, marks } satisfies MarksFile));
  console.log(dir);
}

/**
 * A polygon as far as the picture shows it and a little beyond (Sutherland & Hodgman,
 * CACM 17, 1974): so it is drawn by hand.
 */
function clipped(polygon: readonly (readonly [number, number])[]): [number, number][] {
  let out = polygon.map((p): [number, number] => [p[0], p[1]]);
  for (const [axis, limit, sign] of [
    [0, -3, 1],
    [0, W + 3, -1],
    [1, -3, 1],
    [1, H + 3, -1],
  ] as const) {
    const from = out;
    out = [];
    from.forEach((p, i) => {
      const q = from[(i + 1) % from.length]!;
      const a = sign * (p[axis] - limit);
      const b = sign * (q[axis] - limit);
      if (a >= 0) out.push(p);
      if (a >= 0 !== b >= 0) {
        const t = a / (a - b);
        out.push([p[0] + t * (q[0] - p[0]), p[1] + t * (q[1] - p[1])]);
      }
    });
  }
  return out;
}

function threefold(p: Float32Array): ReturnType<typeof createPicture> {
  const out = createPicture(W, H, 3);
  for (let c = 0; c < 3; c++) out.data.set(p, c * W * H);
  return out;
}

if (process.argv[1] !== undefined && resolve(process.argv[1]) === fileURLToPath(import.meta.url)) {
  const [folder, ids] = process.argv.slice(2).filter((a) => !a.startsWith('--'));
  const seed = Number(process.argv.find((a) => a.startsWith('--seed='))?.slice(7) ?? 1);
  if (folder === undefined) console.log('usage: npx tsx bench/front-scenes.ts FOLDER [ids] [--seed=N]');
  else {
    mkdirSync(folder, { recursive: true });
    for (const c of CASES) if (ids === undefined || ids.split(',').includes(idOf(c))) await make(folder, c, seed);
  }
}
