/**
 * The exam: joins never seen before, made from a seed. Each scene is a film's plate of a random place, lens,
 * move, light and look (exam-plan.ts, exam-sets.ts), a take of a random creature (exam-creature.ts) with its own
 * camera, lamp, white and exposure, marks as a maker would set them (a pixel off), and the truth on a few
 * frames: the creature traced *in* the plate's set with the same film look, the set without it, where it is
 * seen, and the take's own true matte. A new seed is a new scene, so none of the program's constants can have
 * been chosen on it. Needs `povray` and `ffmpeg` on the PATH.
 * Run: `npx tsx bench/exam-scenes.ts FOLDER 1-6`; scored by bench/exam.ts.
 */
import { execFileSync, spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { mapTuple, three } from '../src/core/tuples.js';
import type { Camera } from '../demo/scenes/camera.js';
import { encode } from '../demo/scenes/encode.js';
import { lookahead } from '../demo/scenes/film.js';
import { blur, develop, encode709, type Finish } from '../demo/scenes/look.js';
import { seeded } from '../demo/scenes/random.js';
import { frameOf, GLOBAL, type Shot } from '../demo/scenes/shot.js';
import { trace, type Picture, type TraceOptions } from '../demo/scenes/trace.js';
import { GRAIN_LAWS, planOf, type ExamPlan, type Look } from './exam-plan.js';
import { homeText, lampsText, type Lamps } from './exam-sets.js';
import { type ExamScene, TAKE_HANDLE, marksOfPlan, truthFrames } from './exam-marks.js';

/** Rays a pixel along each axis: fewer where every frame is traced anew. */
const FINE = 1.5,
  COARSE = 1.2;

const luma = (p: Picture): number => {
  let s = 0;
  for (let i = 0; i < p.rgb.length; i += 3) s += 0.2126 * p.rgb[i]! + 0.7152 * p.rgb[i + 1]! + 0.0722 * p.rgb[i + 2]!;
  return s / (p.w * p.h);
};

/** Exposure and white as the camera sets them on what it sees. */
export function finishFor(look: Look, lamps: Lamps, picture: Picture): Finish {
  const light = three((k) => lamps.key[k] * lamps.towards[1] + lamps.fill[k]);
  const y = 0.2126 * light[0] + 0.7152 * light[1] + 0.0722 * light[2];
  const tint = mapTuple(light, (c, k) => (y / c) ** look.balance * look.grade[k]!);
  return { ...look.finish, tint, exposure: look.mean / luma(picture) };
}

/** Developed light to 8-bit R'G'B' with grain of the look's law; `seed` null leaves it out. */
export function printed(p: Picture, f: Finish, law: Look['law'], seed: number | null): Uint8Array {
  const out = new Uint8Array(p.rgb.length),
    r = seeded(seed ?? 0),
    ox = Math.floor(r() * 512),
    oy = Math.floor(r() * 512),
    amount = seed === null ? 0 : f.grain,
    of = GRAIN_LAWS[law];
  for (let y = 0; y < p.h; y++)
    for (let x = 0; x < p.w; x++) {
      const i = 3 * (y * p.w + x),
        q = 3 * (((oy + y) % 512) * 512 + ((ox + x) % 512));
      for (let c = 0; c < 3; c++) {
        const e = encode709(Math.min(1, p.rgb[i + c]!));
        out[i + c] = Math.max(0, Math.min(255, Math.round(255 * e + amount * of(e) * f.noise[q + c]!)));
      }
    }
  return out;
}

export function savePng(path: string, rgb: Uint8Array, w: number, h: number): void {
  execFileSync(
    'ffmpeg',
    ['-v', 'error', '-y', '-f', 'rawvideo', '-pix_fmt', 'rgb24', '-s', `${w}x${h}`, '-i', '-', '-frames:v', '1', path],
    { input: Buffer.from(rgb) },
  );
}

/** How much of each pixel a creature covers, through the same lens. */
export async function matteOf(text: string, c: Camera, softness: number, o: TraceOptions): Promise<Uint8Array> {
  const soft = blur(await trace(`${GLOBAL}background{rgb 0}\n${text}`, c, whole(c), o), softness);
  return Uint8Array.from(soft.rgb, (v) => Math.round(255 * Math.min(1, v)));
}

const whole = (c: Camera) => ({ x: 0, y: 0, w: c.widthPx, h: c.heightPx });

/** Makes what is missing of a scene's take and its true mattes. @param cache folder of traced pictures */
export async function makeTake(
  folder: string,
  p: ExamPlan,
  cache: string,
): Promise<{ readonly take: string; readonly frames: readonly number[]; readonly cleanFrame: number | null }> {
  const name = (what: string): string => join(folder, what),
    fine: TraceOptions = { cache, scale: FINE, kept: new Map() },
    { widthPx: w, heightPx: h } = p.take.camera;
  mkdirSync(folder, { recursive: true });
  mkdirSync(cache, { recursive: true });
  const t = p.take,
    home = takeSet(p);
  const take: Shot = {
    id: folder,
    what: p.words,
    frames: p.frames,
    how: 'whole',
    exposure: 1,
    camera: () => t.camera,
    sun: p.lamps.towards,
    set: home,
    cast: (f) => (f === p.frames + TAKE_HANDLE ? '' : p.creature.text([0, 0, 0], t.yaw(f))),
    reach: () => [],
    truth: () => ({}),
  };
  const made = {
    take: name('take.mp4'),
    frames: truthFrames(p),
    cleanFrame: t.garden === null ? null : p.frames + TAKE_HANDLE,
  };
  if ([name('take.mp4'), ...made.frames.map((f) => name(`${f}-takematte.png`))].every((f) => existsSync(f)))
    return made;
  const once = p.yaw(1) === p.yaw(0) ? fine : { ...fine, scale: COARSE },
    shown = await frameOf(take, 0, once),
    phone = finishFor(t.look, t.lamps, shown);
  if (!existsSync(name('take.mp4')))
    await encode(
      name('take.mp4'),
      lookahead(p.frames + TAKE_HANDLE + (t.garden === null ? 0 : 3), 1, async (f) =>
        printed(
          develop(await frameOf(take, Math.min(f, p.frames + TAKE_HANDLE - (t.garden === null ? 1 : 0)), once), phone),
          phone,
          t.look.law,
          5000 + 64 * p.seed + f,
        ),
      ),
      { width: w, height: h, rate: '24/1', crf: t.look.crf },
    );
  for (const f of made.frames)
    savePng(
      name(`${f}-takematte.png`),
      await matteOf(p.creature.text([0, 0, 0], t.yaw(f), true), t.camera, phone.softness, fine),
      w,
      h,
    );
  return made;
}

/** The take's set with its lamps, as text. */
export function takeSet({ take: t }: ExamPlan): string {
  const level = three((k) => t.lamps.fill[k]! + t.lamps.key[k]! * t.lamps.towards[1]);
  return (
    (t.garden === null ? homeText(t.screen, t.far, level) : t.garden.text) +
    lampsText(t.lamps, t.garden === null ? t.screen.cloth : t.garden.ground)
  );
}

/** Makes what is missing of one scene. */
export async function makeExam(out: string, seed: number): Promise<ExamScene> {
  const p = planOf(seed),
    folder = join(out, `exam-${seed}`),
    name = (what: string): string => join(folder, what),
    cache = join(out, 'cache');
  const file = name('scene.json');
  if (existsSync(file)) return JSON.parse(readFileSync(file, 'utf8')) as ExamScene;
  mkdirSync(folder, { recursive: true });
  mkdirSync(cache, { recursive: true });
  const moving = p.move === 'push' || p.move === 'hand',
    o: TraceOptions = { cache, scale: p.move === 'locked' ? FINE : COARSE, kept: new Map() },
    fine = { ...o, scale: FINE };
  const scene = p.set.text + lampsText(p.lamps, p.set.ground),
    nothing = (): string => '';
  const shot: Shot = {
    id: folder,
    what: p.words,
    frames: p.frames,
    how: p.move === 'pan' ? 'pan' : moving ? 'whole' : 'still',
    exposure: 1,
    camera: p.camera,
    sun: p.lamps.towards,
    set: scene,
    cast: nothing,
    reach: () => [],
    truth: () => ({}),
  };
  const first = await frameOf(shot, p.frames >> 1, o),
    finish = finishFor(p.look, p.lamps, first),
    { w, h } = first;
  if (!existsSync(name('plate.mp4')))
    await encode(
      name('plate.mp4'),
      lookahead(p.frames, 1, async (f) =>
        printed(develop(await frameOf(shot, f, o), finish), finish, p.look.law, 9000 + 64 * seed + f),
      ),
      { width: w, height: h, rate: '24/1', crf: p.look.crf },
    );
  // With the creature in it, the whole picture is traced: its sky shadow reaches far. A pan shows it through the same
  // wide picture.
  for (const f of truthFrames(p)) {
    const text = p.creature.text(p.at, p.yaw(f)),
      base = develop(await frameOf(shot, f, o), finish),
      c = p.camera(f);
    const joined = develop(await frameOf({ ...shot, set: scene + text }, f, o), finish);
    savePng(name(`${f}-truth.png`), printed(joined, finish, p.look.law, 77 + 64 * seed + f), w, h);
    savePng(name(`${f}-clean.png`), printed(joined, finish, p.look.law, null), w, h);
    savePng(name(`${f}-base.png`), printed(base, finish, p.look.law, null), w, h);
    savePng(
      name(`${f}-matte.png`),
      await matteOf(p.creature.text(p.at, p.yaw(f), true), c, finish.softness, fine),
      w,
      h,
    );
  }
  await makeTake(folder, p, cache);
  const marks = marksOfPlan(p);
  writeFileSync(name('plate.json'), JSON.stringify(marks.plate));
  writeFileSync(name('take.json'), JSON.stringify(marks.take));
  const made: ExamScene = {
    seed,
    words: p.words,
    plate: name('plate.mp4'),
    take: name('take.mp4'),
    plateMarks: name('plate.json'),
    takeMarks: name('take.json'),
    frames: truthFrames(p),
    places: marks.places,
  };
  writeFileSync(file, JSON.stringify(made));
  return made;
}

/** Numbers of `1-6,9`. */
export function seedsOf(text: string): number[] {
  return text.split(',').flatMap((part) => {
    const [a, b] = part.split('-').map(Number);
    if (!Number.isInteger(a) || (b !== undefined && !(b >= a!)))
      throw new Error(`seeds are written as 1-6 or 1,3,9, not ${text}`);
    return Array.from({ length: (b ?? a!) - a! + 1 }, (_, k) => a! + k);
  });
}

/** Says loudly where the ray tracer is absent. */
export function canTrace(): boolean {
  const found = ['povray', 'ffmpeg'].filter((p) => spawnSync(p, ['-h'], { stdio: 'ignore' }).error !== undefined);
  if (found.length > 0)
    console.log(`SKIPPED: ${found.join(' and ')} not found on the PATH; the exam's scenes are traced by it`);
  return found.length === 0;
}

if (process.argv[1] !== undefined && resolve(process.argv[1]) === fileURLToPath(import.meta.url)) {
  const [folder, seeds] = process.argv.slice(2);
  if (folder === undefined || seeds === undefined)
    console.log('usage: npx tsx bench/exam-scenes.ts FOLDER SEEDS (1-6)');
  else if (canTrace())
    for (const seed of seedsOf(seeds)) {
      const t = Date.now(),
        s = await makeExam(resolve(folder), seed);
      console.log(`${seed}: ${s.words} (${Math.round((Date.now() - t) / 1000)} s)`);
    }
}
