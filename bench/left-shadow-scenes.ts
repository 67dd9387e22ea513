/**
 * Scenes for what an erase leaves of a shadow, traced from a seed: a person walks over one of eight grounds (even,
 * mottled, or with relief that a low sun lights from the side) under a sun low or high, warm or neutral, hard or
 * soft, while the camera stands, turns or travels past a dark post. About half hold a shelter whose own shade the
 * walker's shadow meets: that must stay. Beside each plate lie its clean truth, the plate without grain, and where
 * the person stands; nothing of these is told to the program but a rough outline of the person. Sets, light, way and
 * camera are drawn from the seed alone. Needs `povray` and `ffmpeg` on the PATH. Run: `npx tsx
 * bench/left-shadow-scenes.ts FOLDER 1-8`; scored by bench/left-shadow.ts.
 */
import { existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { aim, project, sunFrom, type Camera } from '../demo/scenes/camera.js';
import { encode } from '../demo/scenes/encode.js';
import { develop, noiseTile, print, type Finish } from '../demo/scenes/look.js';
import { BRICK, COBBLES, FLAGS, paint, wood } from '../demo/scenes/materials.js';
import { conductor, passenger } from '../demo/scenes/people.js';
import { lamp, SKY, tub } from '../demo/scenes/set.js';
import { background, frameOf, GLOBAL, reachOf, type Shot } from '../demo/scenes/shot.js';
import { trace, type Picture, type TraceOptions } from '../demo/scenes/trace.js';
import { lerp, n, v, type Vec3 } from '../demo/scenes/vector.js';
import { RandomStream } from '../src/core/random.js';
import { convexHull } from '../src/image/outline.js';
import { canTrace, seedsOf } from './exam-scenes.js';

export interface LeftScene {
  readonly seed: number;
  readonly words: string;
  readonly plate: string;
  readonly frames: number;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly region: { frame: number; polygon: [number, number][] }[];
  /** Largest shift of the ground in the picture between two frames, px. */
  readonly shiftPx: number;
}

/**
 * Raw 8-bit R'G'B' of a frame: `clean` and `with` (both without grain), and `matte` (one byte a pixel, over 0 where the
 * person is).
 */
export const rawOf = (folder: string, frame: number, kind: 'clean' | 'with' | 'matte'): Uint8Array =>
  readFileSync(join(folder, `${frame}-${kind}.raw`));

const W = 640;
const H = 360;
const FRAMES = 18;
export const GROUNDS: Readonly<Record<string, string>> = {
  cobbles: COBBLES,
  flags: `${FLAGS.replace('brick_size <0.9,0.2,0.5>', 'brick_size <0.9,0.5,0.5>')}`,
  setts:
    'texture{pigment{brick pigment{rgb<0.06,0.055,0.05>} ' +
    'pigment{granite scale 0.3 color_map{[0.1 rgb<0.19,0.18,0.18>][0.7 rgb<0.34,0.32,0.31>]}} ' +
    'brick_size <0.16,0.12,0.12> mortar 0.014 rotate x*90} ' +
    'normal{brick 0.6 brick_size <0.16,0.12,0.12> mortar 0.014 rotate x*90} finish{ambient 0 diffuse 0.85}}',
  asphalt:
    'texture{pigment{granite scale 0.05 color_map{[0.1 rgb<0.1,0.1,0.105>][0.8 rgb<0.22,0.22,0.22>]}} ' +
    'normal{bumps 0.5 scale 0.012} finish{ambient 0 diffuse 0.9}}',
  gravel:
    'texture{pigment{crackle solid scale 0.035 ' +
    'color_map{[0 rgb<0.22,0.2,0.17>][0.5 rgb<0.4,0.36,0.3>][1 rgb<0.52,0.49,0.45>]}} ' +
    'normal{crackle 1.1 form <-1,1,0> scale 0.035} finish{ambient 0 diffuse 0.9}}',
  grass:
    'texture{pigment{granite scale <0.12,0.12,0.25> ' +
    'color_map{[0.1 rgb<0.05,0.08,0.02>][0.45 rgb<0.1,0.16,0.04>][0.8 rgb<0.16,0.24,0.07>]}} ' +
    'normal{bumps 0.9 scale 0.03} finish{ambient 0 diffuse 0.9}}',
  boards: wood('0.3,0.2,0.12', '0.45,0.31,0.19', 0.03),
  plain: 'texture{pigment{rgb<0.42,0.38,0.33>} finish{ambient 0 diffuse 0.9}}',
};

interface Plan {
  readonly shot: Shot;
  readonly finish: Finish;
  readonly words: string;
  readonly person: (f: number) => string;
  readonly crf: number;
}

/** Draws of one seed: the stream, a number between two, a sign. */
interface Draws {
  readonly random: RandomStream;
  readonly u: (a: number, b: number) => number;
  readonly sign: () => number;
}

type Move = 'pan' | 'locked' | 'travel';

/** The camera on each frame, `far` from the origin and `high` over the ground, metres. */
function cameraOf(
  { u, sign }: Draws,
  move: Move,
): { high: number; far: number; focal: number; camera: Shot['camera'] } {
  const high = u(1.1, 1.9);
  const far = u(4.6, 6.5);
  const focal = u(620, 800);
  const tilt = -u(4, 9);
  const turn = sign() * u(8, 16);
  const aside = sign() * u(0.5, 0.9);
  const camera = (f: number): Camera => {
    const t = f / (FRAMES - 1);
    return move === 'travel'
      ? aim([aside * (t - 0.5), high, -far], -0.5 * aside * (t - 0.5), tilt, focal, 0, W, H)
      : aim([0, high, -far], move === 'pan' ? turn * (t - 0.5) : 0, tilt, focal, 0, W, H);
  };
  return { high, far, focal, camera };
}

/** A sun and its sky as POV-Ray has them, and their figures: degrees, how warm the sun is, how strong the sky. */
function skyOf({ random, u, sign }: Draws, { high, far, focal }: { high: number; far: number; focal: number }) {
  const elevation = random.uniform() < 0.5 ? u(13, 26) : u(30, 55);
  const azimuth = sign() * u(25, 130);
  const sun = sunFrom(aim([0, high, -far], 0, 0, focal), azimuth, elevation);
  // A low sun is warm and weak, and what it leaves in shade bluer.
  const low = Math.max(0, (40 - elevation) / 30);
  const warm = random.uniform() < 0.6 ? low * u(0.5, 1.1) : u(0, 0.15);
  const key: Vec3 = [2.3 * (1 + 0.12 * warm), 2.15 * (1 - 0.18 * warm), 1.95 * (1 - 0.5 * warm)];
  const fill = u(0.35, 1.1);
  const soft = random.uniform() < 0.4 ? u(1.2, 4) : 0.53;
  const wide = 2 * 120 * Math.tan((soft * Math.PI) / 360);
  const area = `area_light <${n(wide)},0,0>,<0,${n(wide)},0>,5,5 adaptive 1 circular orient`;
  const sky = (p: Vec3, c: Vec3): string =>
    `light_source{${v(p)} rgb${v([c[0] * fill, c[1] * fill, c[2] * fill])} shadowless parallel point_at 0}\n`;
  const lights =
    `light_source{${v([sun[0] * 120, sun[1] * 120, sun[2] * 120])} rgb${v(key)} parallel point_at 0 ${area}}\n` +
    `${sky([-25, 80, -50], [0.27, 0.3, 0.4])}${sky([50, 40, -40], [0.18, 0.18, 0.21])}` +
    `${sky([0, 40, 90], [0.15, 0.14, 0.15])}${sky([0, -60, -20], [0.1, 0.08, 0.06])}`;
  return { sun, lights, azimuth, elevation, soft, warm, fill };
}

/** Ground, wall, lamp and tub; now and then a shelter; before a camera that travels a post. */
function setOf({ random, u, sign }: Draws, seed: number, ground: string, lights: string, postAt: number | null) {
  const shelter = random.uniform() < 0.5;
  const sx = u(-1.5, 0.6);
  const dark = `${n(u(0.02, 0.08))},${n(u(0.02, 0.08))},${n(u(0.02, 0.09))}`;
  const roof = shelter
    ? `union{box{<-1.4,2.1,0>,<1.4,2.2,1.3> ${paint('0.4,0.06,0.05')}} ` +
      `box{<-1.4,0,1.24>,<1.4,1,1.3> ${wood('0.13,0.19,0.2', '0.19,0.27,0.27', 0.05)}} ` +
      [-1.35, 1.35].map((x) => `cylinder{<${x},0,0.05>,<${x},2.1,0.05>,0.04 ${paint('0.5,0.44,0.34')}}`).join(' ') +
      ` translate <${n(sx)},0,${n(u(0.9, 1.6))}>}\n`
    : '';
  const post =
    postAt !== null ? `cylinder{<0,0,${n(postAt)}>,<0,4,${n(postAt)}>,0.045 ${paint(dark)} no_shadow}\n` : '';
  const set =
    `${SKY}${lights}plane{y,0 ${ground} rotate y*${n(u(-30, 30))}}\n` +
    `${roof}${post}box{<-12,0,5>,<12,2.6,5.3> ${BRICK}}\n` +
    `${lamp(sign() * u(2, 3), u(2.5, 3.5))}${tub(sign() * u(1.6, 2.4), u(1, 3), seed)}`;
  return { set, shelter };
}

/** Somebody who crosses the picture: where on each frame, and as POV-Ray has them. */
function walkerOf({ random, u, sign }: Draws): { at: (f: number) => Vec3; person: (f: number) => string } {
  // Aslant or not, about a metre and a half in the shot.
  const side = sign();
  const from: Vec3 = [-side * u(0.7, 1.1), 0, u(-0.6, 0.5)];
  const to: Vec3 = [side * u(0.5, 1), 0, from[2] + u(-0.6, 0.6)];
  const who = random.uniform() < 0.5 ? ('plum' as const) : ('mustard' as const);
  const officer = random.uniform() < 0.25;
  const yaw = (Math.atan2(-(to[0] - from[0]), -(to[2] - from[2])) * 180) / Math.PI;
  const at = (f: number): Vec3 => [lerp(from[0], to[0], f / (FRAMES - 1)), 0, lerp(from[2], to[2], f / (FRAMES - 1))];
  const person = (f: number): string =>
    officer ? conductor({ position: at(f), yaw }) : passenger({ position: at(f), yaw, stride: f / 14 }, who);
  return { at, person };
}

function planOf(seed: number): Plan {
  const random = new RandomStream(seed, 913);
  const u = (a: number, b: number): number => a + (b - a) * random.uniform();
  const draws: Draws = { random, u, sign: () => (random.uniform() < 0.5 ? -1 : 1) };
  const names = Object.keys(GROUNDS);
  const kind = names[seed % names.length]!;
  const move = (['pan', 'locked', 'pan', 'travel'] as const)[(seed + Math.floor(seed / 8)) % 4]!;
  const view = cameraOf(draws, move);
  const { sun, lights, azimuth, elevation, soft, warm, fill } = skyOf(draws, view);
  const { set, shelter } = setOf(draws, seed, GROUNDS[kind]!, lights, move === 'travel' ? -view.far + 2.2 : null);
  const { at, person } = walkerOf(draws);
  const shot: Shot = {
    id: `left-${seed}`,
    what: '',
    frames: FRAMES,
    how: move === 'pan' ? 'pan' : move === 'locked' ? 'still' : 'whole',
    exposure: 1,
    camera: view.camera,
    sun,
    set,
    cast: person,
    reach: (f) => reachOf(at(f), 0.5, 1.95, sun),
    truth: () => ({}),
  };
  const finish: Finish = {
    exposure: 0.75,
    softness: u(0.45, 0.9),
    glow: 0,
    lift: [0.004, 0.004, 0.005],
    tint: [1, 1, 1],
    grain: u(0.8, 2.6),
    noise: noiseTile(seed * 5 + 1, u(0.45, 0.8), 0.5),
    contrast: u(1, 1.2),
  };
  return {
    shot,
    finish,
    person,
    crf: Math.round(u(14, 20)),
    words:
      `${kind}, ${move}, sun ${azimuth.toFixed(0)}° / ${elevation.toFixed(0)}°, ${soft.toFixed(1)}° wide, ` +
      `warm ${warm.toFixed(1)}, sky ${fill.toFixed(1)}${shelter ? ', shelter' : ''}`,
  };
}

const BRIGHT = [
  [60, 30, -60],
  [-60, 30, -60],
  [0, 90, 0],
  [0, -60, -50],
  [0, 20, 90],
]
  .map((p) => `light_source{${v(p as unknown as Vec3)} rgb 8 shadowless parallel point_at 0}\n`)
  .join('');

/** Traces a scene, or reads it where it lies traced already. */
export async function makeLeft(folder: string, seed: number): Promise<LeftScene> {
  const own = join(folder, `left-${seed}`);
  const file = join(own, 'scene.json');
  if (existsSync(file)) return JSON.parse(readFileSync(file, 'utf8')) as LeftScene;
  const cache = join(folder, 'cache');
  for (const d of [own, cache]) mkdirSync(d, { recursive: true });
  const p = planOf(seed);
  const o: TraceOptions = { cache, scale: 1.34, kept: new Map() };
  const still: Finish = { ...p.finish, grain: 0 };
  const first = await background(p.shot, 0, o);
  let sum = 0;
  for (let i = 1; i < first.rgb.length; i += 3) sum += first.rgb[i]!;
  const exposure = 0.17 / (sum / (W * H));
  const put = (kind: string, f: number, b: Uint8Array): void => writeFileSync(join(own, `${f}-${kind}.raw`), b);
  const region: LeftScene['region'] = [];
  const printed: Uint8Array[] = [];
  let shiftPx = 0;
  for (let f = 0; f < FRAMES; f++) {
    const c = p.shot.camera(f);
    const clean = develop(await background(p.shot, f, o), { ...still, exposure });
    const full = develop(await frameOf(p.shot, f, o), { ...still, exposure });
    put('clean', f, print(clean, still, 1));
    put('with', f, print(full, still, 1));
    printed.push(print(full, p.finish, seed * 1000 + f));
    const alone: Picture = await trace(
      `${GLOBAL}background{rgb 0}\n${BRIGHT}${p.person(f)}`,
      c,
      { x: 0, y: 0, w: W, h: H },
      o,
    );
    const matte = new Uint8Array(W * H);
    const points: [number, number][] = [];
    for (let i = 0; i < matte.length; i++)
      if (alone.rgb[3 * i]! + alone.rgb[3 * i + 1]! + alone.rgb[3 * i + 2]! > 0.003) {
        matte[i] = 1;
        points.push([i % W, Math.floor(i / W)], [(i % W) + 1, Math.floor(i / W) + 1]);
      }
    put('matte', f, matte);
    if (f % 3 === 0 || f === FRAMES - 1)
      region.push({ frame: f, polygon: convexHull(points).map(([x, y]) => [Math.round(x), Math.round(y)]) });
    if (f > 0) {
      const a = project(p.shot.camera(f - 1), [0, 0, 0]);
      const b = project(c, [0, 0, 0]);
      shiftPx = Math.max(shiftPx, Math.hypot(a[0] - b[0], a[1] - b[1]));
    }
  }
  await encode(
    join(own, 'plate.mp4'),
    (async function* () {
      yield* printed;
    })(),
    { width: W, height: H, rate: '12/1', crf: p.crf },
  );
  const made: LeftScene = {
    seed,
    words: p.words,
    plate: join(own, 'plate.mp4'),
    frames: FRAMES,
    widthPx: W,
    heightPx: H,
    region,
    shiftPx,
  };
  writeFileSync(file, JSON.stringify(made));
  return made;
}

if (process.argv[1] !== undefined && resolve(process.argv[1]) === fileURLToPath(import.meta.url)) {
  const [folder, seeds] = process.argv.slice(2);
  if (folder === undefined || seeds === undefined)
    console.log('usage: npx tsx bench/left-shadow-scenes.ts FOLDER SEEDS (1-8)');
  else if (canTrace())
    for (const seed of seedsOf(seeds)) {
      const t = Date.now();
      const s = await makeLeft(resolve(folder), seed);
      console.log(`${seed}: ${s.words} (${Math.round((Date.now() - t) / 1000)} s)`);
    }
}
