/**
 * How well the plate's ground tells that a plan slips: plates of the exam's scenes (exam-plan.ts), whose cameras are
 * known, so that a plan of the foot is right to the last digit. At the scene's own stand and at further places drawn by
 * seed, on how many frames the ground is told, how far a right plan reads off, and one that goes to and fro by .6 px
 * rms, fast and slowly. Only the plates are traced. Needs `povray` and `ffmpeg` on the PATH.
 * Run: `npx tsx bench/inspect-ground.ts FOLDER 681-699`.
 */
import { existsSync, mkdirSync } from 'node:fs';
import { join, resolve } from 'node:path';
import type { Camera } from '../demo/scenes/camera.js';
import { encode } from '../demo/scenes/encode.js';
import { lookahead } from '../demo/scenes/film.js';
import { develop } from '../demo/scenes/look.js';
import { frameOf, type Shot } from '../demo/scenes/shot.js';
import { dot, sub, type Vec3 } from '../demo/scenes/vector.js';
import { RandomStream } from '../src/core/random.js';
import { GroundGauge } from '../src/inspect/movement/ground-gauge.js';
import { lumaOf, type GoneFrame } from '../src/inspect/reader/frame.js';
import type { GroundFrame } from '../src/join/ground/types.js';
import type { GroundStep, Recipe } from '../src/join/types.js';
import { toCodedRgb } from '../src/media/convert.js';
import { VideoReader } from '../src/media/video-reader.js';
import { planOf, type ExamPlan } from './exam-plan.js';
import { canTrace, finishFor, printed, seedsOf } from './exam-scenes.js';
import { lampsText } from './exam-sets.js';

/** Rays a pixel along each axis; further places looked at; slip laid on, px rms. */
const RAYS = 1.2,
  PLACES = 4,
  SLIP = 0.6;
const DEG = 180 / Math.PI;

type Slip = (frame: number) => readonly [number, number];
const SLIPS: Readonly<Record<string, Slip>> = {
  'a right plan': () => [0, 0],
  'to and fro': (n) => [SLIP * Math.SQRT2 * Math.sin(1.9 * n + 1), 0],
  'slowly to and fro': (n) => [SLIP * Math.SQRT2 * Math.sin(0.628 * n + 1), 0.3 * SLIP * Math.cos(0.628 * n + 1)],
};

async function plateOf(folder: string, p: ExamPlan): Promise<string> {
  const file = join(folder, `${p.seed}.mp4`),
    cache = join(folder, 'cache');
  if (existsSync(file)) return file;
  mkdirSync(cache, { recursive: true });
  const shot: Shot = {
    id: join(folder, String(p.seed)),
    what: p.words,
    frames: p.frames,
    how: p.move === 'pan' ? 'pan' : p.move === 'locked' ? 'still' : 'whole',
    exposure: 1,
    camera: p.camera,
    sun: p.lamps.towards,
    set: p.set.text + lampsText(p.lamps, p.set.ground),
    cast: () => '',
    reach: () => [],
    truth: () => ({}),
  };
  const o = { cache, scale: RAYS, kept: new Map() },
    first = await frameOf(shot, p.frames >> 1, o),
    finish = finishFor(p.look, p.lamps, first);
  await encode(
    file,
    lookahead(p.frames, 1, async (f) =>
      printed(develop(await frameOf(shot, f, o), finish), finish, p.look.law, 9000 + 64 * p.seed + f),
    ),
    { width: first.w, height: first.h, rate: '24/1', crf: p.look.crf },
  );
  return file;
}

/** Where a camera shows a point of the set: px and depth. */
function shownAt(c: Camera, point: Vec3): readonly [number, number, number] {
  const d = sub(point, c.position),
    z = dot(d, c.forward);
  return [c.widthPx / 2 + (c.focalPx * dot(d, c.right)) / z, c.heightPx / 2 + (c.focalPx * dot(d, c.down)) / z, z];
}

/** The ground step's frame for a foot at a point, with a key that stands 30° from straight behind the set's heading. */
function groundFrame(c: Camera, point: Vec3, frame: number, slip: Slip): GroundFrame {
  const [x, y, z] = shownAt(c, point),
    [fx, fy, fz] = c.forward,
    flat = Math.hypot(fx, fz),
    level: Vec3 = [fz / flat, 0, -fx / flat],
    down: Vec3 = [(fy * fx) / flat, -flat, (fy * fz) / flat],
    off = slip(frame);
  return {
    frame,
    foot: [x + off[0], y + off[1]],
    pxPerMetre: c.focalPx / z,
    tiltDeg: Math.asin(fy) * DEG,
    rollDeg: Math.atan2(dot(c.right, down), dot(c.right, level)) * DEG,
    azimuthDeg: 30 + Math.atan2(fx, fz) * DEG,
  };
}

interface Told {
  readonly share: number;
  /** Px rms about a straight line over time, and about the mean. */
  readonly toAndFro: number;
  readonly whole: number;
}

function told(plate: readonly Float32Array[], p: ExamPlan, point: Vec3, slip: Slip): Told {
  const c = p.camera(0),
    frames = plate.map((_, n) => groundFrame(p.camera(n), point, n, slip)),
    step = { step: 'ground', azimuthDeg: 30, elevationDeg: 40, focalPx: c.focalPx, frames } as unknown as GroundStep,
    gauge = new GroundGauge({ steps: [step] } as unknown as Recipe, step),
    list = plate.flatMap((plateLuma, frame) => {
      const f = { frame, plateLuma, box: [0, 0, 80, 160] } as unknown as GoneFrame,
        at = gauge.read(f, [c.widthPx, c.heightPx], () => false);
      return at === null ? [] : [{ n: frame, at }];
    });
  const left = (line: boolean): number =>
    Math.sqrt(
      [0, 1].reduce((sum, k) => {
        const v = list.map((q) => q.at[k as 0 | 1]),
          mean = v.reduce((s, q) => s + q, 0) / v.length,
          t = list.reduce((s, q) => s + q.n, 0) / v.length,
          spread = list.reduce((s, q) => s + (q.n - t) ** 2, 0),
          slope = line ? list.reduce((s, q, i) => s + (q.n - t) * (v[i]! - mean), 0) / spread : 0;
        return sum + v.reduce((s, q, i) => s + (q - mean - slope * (list[i]!.n - t)) ** 2, 0) / v.length;
      }, 0),
    );
  return { share: list.length / plate.length, toAndFro: left(true), whole: left(false) };
}

/** The scene's stand and places about it that stay in the picture. */
function places(p: ExamPlan): Vec3[] {
  const random = new RandomStream(p.seed),
    out: Vec3[] = [[p.at[0], p.at[1], p.at[2]]],
    stays = (q: Vec3): boolean =>
      Array.from({ length: p.frames }, (_, n) => p.camera(n)).every((c) => {
        const [x, y, z] = shownAt(c, q);
        return z > 0.5 && x > 30 && x < c.widthPx - 30 && y > 20 && y < c.heightPx - 4;
      });
  for (let n = 0; n < 3000 && out.length <= PLACES; n++) {
    const q: Vec3 = [p.at[0] + 6 * (random.uniform() - 0.5), p.at[1], p.at[2] + 6 * (random.uniform() - 0.5)];
    if (stays(q)) out.push(q);
  }
  return out;
}

const [folder, seeds] = process.argv.slice(2);
if (folder === undefined || seeds === undefined) console.log('usage: npx tsx bench/inspect-ground.ts FOLDER 681-699');
else if (canTrace())
  for (const seed of seedsOf(seeds)) {
    const p = planOf(seed),
      reader = await VideoReader.open(await plateOf(resolve(folder), p)),
      plate: Float32Array[] = [];
    for await (const f of reader.frames(0, p.frames)) plate.push(lumaOf(toCodedRgb(f)).slice());
    await reader.close();
    console.log(`${seed}: ${p.words}`);
    places(p).forEach((point, k) => {
      const words = Object.entries(SLIPS).map(([name, slip]) => {
        const t = told(plate, p, point, slip);
        return `${name} ${t.toAndFro.toFixed(2)} (with its slide ${t.whole.toFixed(2)}, told on ${t.share.toFixed(2)})`;
      });
      console.log(`  ${k === 0 ? 'its stand' : `place ${k}`}: ${words.join('; ')}`);
    });
  }
