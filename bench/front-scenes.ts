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
import { project } from '../demo/scenes/camera.js';
import { encode } from '../demo/scenes/encode.js';
import { gaussian, seeded } from '../demo/scenes/random.js';
import { trace } from '../demo/scenes/trace.js';
import { bt709Encode } from '../src/colour/transfer.js';
import { createPicture } from '../src/image/picture.js';
import { outlinePolygon } from '../src/join/outline/outline-polygon.js';
import { writePng16 } from '../src/media/stills.js';
import type { Mark, MarksFile } from '../src/plate/marks/marks.js';
import { FRAMES, H, type Move, type Thing, W, cameraAt, frontOf, setText } from './front-things.js';

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
const idOf = ([thing, move]: readonly [Thing, Move]): string => `${thing}-${move}`;

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
