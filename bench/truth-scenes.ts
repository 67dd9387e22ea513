/**
 * Truth sets like the practice one (truth-set.ts), made from a seed: `stand`, `turn` (the performer is carried in
 * the arms of a man who turns), `pan` (a man walks through and is to be erased), `push` (a pole passes before the
 * performer), with other cameras, suns, grounds, men, performers and faults of the take (truth-plan.ts). Each
 * folder holds plate.mp4, clean.mp4, take.mp4, take-matte.mkv, performer-matte.mkv, joined.mp4 and truth.json, so
 * that all that reads the practice set reads these with `--truth=FOLDER`. No motion blur, no distortion, as there.
 * Needs `povray` and `ffmpeg` on the PATH. Run: `npx tsx bench/truth-scenes.ts FOLDER 1-3 [--kinds=turn,pan]`;
 * joined by `npx tsx bench/join.ts --truth=FOLDER`.
 */
import { spawn } from 'node:child_process';
import { existsSync, mkdirSync, renameSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { three } from '../src/core/tuples.js';
import { encode } from '../demo/scenes/encode.js';
import { lookahead } from '../demo/scenes/film.js';
import { blur, develop, type Finish } from '../demo/scenes/look.js';
import { background, frameOf, GLOBAL, reachOf, type Shot } from '../demo/scenes/shot.js';
import { trace, type Picture, type TraceOptions } from '../demo/scenes/trace.js';
import { add, unit, type Vec3 } from '../demo/scenes/vector.js';
import { canTrace, finishFor, printed, seedsOf } from './exam-scenes.js';
import { homeText, lampsText, type Lamps } from './exam-sets.js';
import type { Look } from './exam-plan.js';
import { dome } from './ground-lamps.js';
import { truthPlan, type TruthPlan } from './truth-plan.js';
import type { TruthKind } from './truth-set.js';

/** Rays a pixel along each axis. */
const SCALE = 1.35;
const SKY =
  'sky_sphere{pigment{gradient y color_map{[0 rgb<0.85,0.92,1>][0.2 rgb<0.55,0.72,1>][0.8 rgb<0.25,0.45,0.85>]}}}\n';
const KINDS: readonly TruthKind[] = ['turn', 'pan', 'push', 'stand'];

/** All that a standing thing and its shadows by sun and sky lie in. */
function reach(at: Vec3, halfM: number, heightM: number, lamps: Lamps): Vec3[] {
  const low = at[1];
  const foot: Vec3 = [at[0], 0, at[2]];
  const lit = [lamps.towards, ...dome(5).map((d) => unit([d[0], Math.max(0.35, d[1]), d[2]]))];
  return [...lit.flatMap((d) => reachOf(foot, halfM, low + heightM, d)), add(at, [0, -0.1, 0])];
}

/** A movie of mattes (one byte a pixel): 16-bit grey, lossless. */
async function writeMattes(path: string, mattes: readonly Uint8Array[], w: number, h: number): Promise<void> {
  const part = path.replace(/(\.\w+)$/, '.part$1');
  const child = spawn(
    'ffmpeg',
    [
      '-v',
      'error',
      '-y',
      '-f',
      'rawvideo',
      '-pix_fmt',
      'gray16le',
      '-s',
      `${w}x${h}`,
      '-r',
      '24',
      '-i',
      '-',
      '-c:v',
      'ffv1',
      '-color_range',
      'pc',
      part,
    ],
    { stdio: ['pipe', 'inherit', 'inherit'] },
  );
  const done = new Promise<void>((ok, no) =>
    child.on('close', (code) => (code === 0 ? ok() : no(new Error(`ffmpeg ended with ${code} while writing ${path}`)))),
  );
  for (const m of mattes)
    if (!child.stdin.write(Buffer.from(Uint16Array.from(m, (a) => a * 257).buffer)))
      await new Promise((ok) => child.stdin.once('drain', ok));
  child.stdin.end();
  await done;
  renameSync(part, path);
}

/** How much of each pixel the performer's own light fills where nothing else shines. */
async function matteOf(
  text: string,
  c: ReturnType<TruthPlan['camera']>,
  softness: number,
  o: TraceOptions,
): Promise<Uint8Array> {
  const soft = blur(
    await trace(`${GLOBAL}background{rgb 0}\n${text}`, c, { x: 0, y: 0, w: c.widthPx, h: c.heightPx }, o),
    softness,
  );
  return Uint8Array.from(
    soft.rgb.filter((_, i) => i % 3 === 0),
    (a) => Math.round(255 * Math.min(1, a)),
  );
}

const movie = (p: TruthPlan, look: Look) => ({
  width: p.truth.width,
  height: p.truth.height,
  rate: '24/1',
  crf: look.crf,
});

/** Makes what is missing of one shot. */
async function makeTruth(out: string, kind: TruthKind, seed: number): Promise<TruthPlan> {
  const p = truthPlan(kind, seed);
  const folder = join(out, p.truth.name);
  const cache = join(out, 'cache');
  const name = (what: string): string => join(folder, what);
  const { width: w, height: h } = p.truth;
  if (existsSync(name('truth.json'))) return p;
  for (const d of [folder, cache]) mkdirSync(d, { recursive: true });
  const o: TraceOptions = { cache, scale: SCALE, kept: new Map() };
  const scene = SKY + p.set + lampsText(p.lamps, p.ground);
  const nothing = (): string => '';
  const m = p.truth.frames.map((f) => f.mannequin.position);
  const shot: Shot = {
    id: folder,
    what: p.words,
    frames: p.frames,
    how: 'still',
    exposure: 1,
    camera: p.camera,
    sun: p.lamps.towards,
    set: scene,
    cast: p.man,
    reach: (f) => reach(m[f]!, 0.6, p.truth.heights.mannequin, p.lamps),
    truth: () => ({}),
  };
  const of = (f: number): { text: string; reach: Vec3[] } => ({
    text: p.performer.text(p.performer.at(f), p.performer.yaw(f)),
    reach: reach(p.performer.at(f), 1.2 * p.performer.halfM, p.performer.heightM, p.lamps),
  });
  const alone: Shot = { ...shot, cast: nothing, reach: () => [] };
  const finish = finishFor(p.look, p.lamps, await background(shot, p.frames >> 1, o));
  const written = async (
    file: string,
    look: Look,
    as: Finish,
    light: (f: number) => Promise<Picture>,
    grain: number | null,
  ): Promise<void> => {
    if (!existsSync(name(file)))
      await encode(
        name(file),
        lookahead(p.frames, 1, async (f) =>
          printed(develop(await light(f), as), as, look.law, grain === null ? null : grain + 64 * seed + f),
        ),
        movie(p, look),
      );
  };
  await written('plate.mp4', p.look, finish, (f) => frameOf(shot, f, o), 9000);
  await written('clean.mp4', p.look, finish, (f) => background(shot, f, o), null);
  await written(
    'joined.mp4',
    p.look,
    finish,
    (f) => {
      const q = of(f);
      return frameOf(kind === 'pan' ? alone : shot, f, o, q.text, q.reach);
    },
    7000,
  );
  const mattes: Uint8Array[] = [];
  const takeMattes: Uint8Array[] = [];
  // Nothing else shines: the set and the man hide, the rest is black.
  for (let f = 0; f < p.frames; f++)
    mattes.push(
      await matteOf(
        p.set + (kind === 'pan' ? '' : p.man(f)) + p.performer.text(p.performer.at(f), p.performer.yaw(f), true),
        p.camera(f),
        finish.softness,
        o,
      ),
    );
  await writeMattes(name('performer-matte.mkv'), mattes, w, h);
  const t = p.take;
  const level = three((k) => t.lamps.fill[k]! + t.lamps.key[k]! * t.lamps.towards[1]);
  const home: Shot = {
    ...shot,
    how: 'whole',
    camera: () => t.camera,
    sun: t.lamps.towards,
    set: homeText(t.screen, t.far, level) + lampsText(t.lamps, t.screen.cloth),
    cast: (f) => p.performer.text([0, 0, 0], t.yaw(f)),
    reach: () => [],
  };
  const phone = finishFor(t.look, t.lamps, await frameOf(home, 0, o));
  await written('take.mp4', t.look, phone, (f) => frameOf(home, f, o), 5000);
  for (let f = 0; f < p.frames; f++)
    takeMattes.push(await matteOf(p.performer.text([0, 0, 0], t.yaw(f), true), t.camera, phone.softness, o));
  await writeMattes(name('take-matte.mkv'), takeMattes, w, h);
  writeFileSync(name('truth.json'), JSON.stringify(p.truth));
  return p;
}

if (process.argv[1] !== undefined && resolve(process.argv[1]) === fileURLToPath(import.meta.url)) {
  const [folder, seeds] = process.argv.slice(2).filter((a) => !a.startsWith('--'));
  const kinds = (process.argv
    .find((a) => a.startsWith('--kinds='))
    ?.slice(8)
    .split(',') ?? KINDS) as TruthKind[];
  if (folder === undefined || seeds === undefined || kinds.some((k) => !KINDS.includes(k)))
    console.log(`usage: npx tsx bench/truth-scenes.ts FOLDER SEEDS (1-3) [--kinds=${KINDS.join(',')}]`);
  else if (canTrace())
    for (const seed of seedsOf(seeds))
      for (const kind of kinds) {
        const t = Date.now();
        const p = await makeTruth(resolve(folder), kind, seed);
        console.log(`${p.truth.name}: ${p.words} (${Math.round((Date.now() - t) / 1000)} s)`);
      }
}
