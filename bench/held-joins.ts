/**
 * Joins held for bench/inspect-held.ts, with what the inspection would render again beside them: the
 * program's own joins of the demo and of the practice set, as their files hold them; the practice set's
 * true pictures; and scenes traced by bench/join-scenes.ts, each with the recipe that is proposed for it.
 * Kept in a folder, so that only the first run renders.
 */
import { existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { dirname, join as path, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { RandomStream } from '../src/core/random.js';
import type { Expected } from '../src/inspect/texture/against-take.js';
import { BareJoin, MendedPlate } from '../src/inspect/reader/reference.js';
import { joinTools } from '../src/join/render/join-tools.js';
import { mendsPlate } from '../src/join/render/mends-plate.js';
import { proposeFromFiles } from '../src/join/quick.js';
import { reframedRecipe } from '../src/join/widen/reframe.js';
import { JoinRenderer, type JoinOptions } from '../src/join/render/render.js';
import type { Recipe } from '../src/join/types.js';
import { createPicture, type Picture } from '../src/image/picture.js';
import { toCodedRgb } from '../src/media/convert.js';
import { VideoReader } from '../src/media/video-reader.js';
import { VideoWriter } from '../src/media/video-writer.js';
import { parseMarks, type MarksFile } from '../src/plate/marks/marks.js';
import { readScenes } from './join-scenes.js';
import { finish } from './made-join-finish.js';
import { lookOf, type JoinFrame } from './made-join-recipe.js';
import { readPng } from './made-joins.js';
import { truthMarks } from './truth-marks.js';
import { TRUTH_SHOTS, truthFile, truthFolder, truthKind } from './truth-set.js';

export interface Again {
  readonly luma: Float32Array;
  readonly expected: Expected;
}
export interface HeldJoin {
  readonly id: string;
  /**
   * `own`: the recipe's own picture; `true`: a picture in which nothing was joined, beside the recipe that is proposed
   * for it.
   */
  readonly family: 'own' | 'true';
  /** Which half of the shots it belongs to: limits are looked at on `dev` alone. */
  readonly half: 'dev' | 'hold';
  readonly frames: readonly JoinFrame[];
  readonly first: number;
  /** Whether the plate was mended without its mended frames at hand. */
  readonly erased: boolean;
  readonly recipe: Recipe;
  readonly again: ReadonlyMap<number, Again>;
}
/** One source of a held join: where its files are. */
interface Source {
  readonly id: string;
  readonly family: 'own' | 'true';
  readonly half: 'dev' | 'hold';
  readonly plate: string;
  readonly take: string;
  readonly plateMarks: () => MarksFile;
  readonly takeMarks: () => MarksFile;
  /** Frames of a true picture from `first` on; absent for own joins. */
  readonly truth?: (first: number, count: number) => Promise<readonly JoinFrame[]>;
  readonly from: number;
}

const COUNT = 10;
const AGAIN = [2, 5, 8];
const DEV = ['platform', 'pan', 'window', 'stand', 'turn', 'rabbit-high', 'noon-sand', 'cool-black', 'hound-side'];
const half = (id: string): 'dev' | 'hold' => (DEV.includes(id) ? 'dev' : 'hold');

async function range(file: string, first: number, count: number): Promise<Picture[]> {
  const r = await VideoReader.open(file);
  const out: Picture[] = [];
  const still = r.info.frameCount === 1;
  for await (const f of r.frames(still ? 0 : first, still ? 1 : first + count)) out.push(toCodedRgb(f));
  await r.close();
  while (still && out.length < count) out.push(out[0]!);
  return out;
}

/**
 * Sources by name: the demo's seven picks, the practice set's four shots as own joins and as true pictures, and traced
 * scenes.
 */
export function sources(scenes: string | null, demoPlates: string): Source[] {
  const demo = resolve(dirname(fileURLToPath(import.meta.url)), '..', 'demo');
  const json = (f: string): MarksFile => parseMarks(readFileSync(f, 'utf8'), f);
  const picks: readonly (readonly [string, string])[] = [
    ['platform', 'platform-1'],
    ['railing', 'railing-1'],
    ['conductor', 'conductor-1'],
    ['punch', 'punch-1'],
    ['pan', 'pan-1'],
    ['window', 'window-1'],
  ];
  const out: Source[] = picks.map(([id, take]) => ({
    id: `own-${id}`,
    family: 'own',
    half: half(id),
    plate: path(demoPlates, `${id}.mkv`),
    take: path(demo, 'media', 'takes', `${take}.mp4`),
    plateMarks: () => json(path(demo, 'marks', `${id}.json`)),
    takeMarks: () => json(path(demo, 'marks', 'takes', `${take}.json`)),
    from: 8,
  }));
  if (truthFolder() !== null)
    for (const shot of TRUTH_SHOTS) {
      const h = truthKind(shot) === 'stand' || truthKind(shot) === 'turn' ? 'dev' : 'hold';
      const at = {
        plate: truthFile(shot, 'plate.mp4'),
        take: truthFile(shot, 'take.mp4'),
        plateMarks: () => truthMarks(shot).plate,
        takeMarks: () => truthMarks(shot).take,
        from: 9,
      } as const;
      out.push({ id: `own-practice-${shot}`, family: 'own', half: h, ...at });
      out.push({
        id: `true-${shot}`,
        family: 'true',
        half: h,
        ...at,
        truth: async (first, count) => {
          const [j, b, m] = await Promise.all([
            range(truthFile(shot, 'joined.mp4'), first, count),
            range(truthKind(shot) === 'pan' ? truthFile(shot, 'clean.mp4') : at.plate, first, count),
            range(truthFile(shot, 'performer-matte.mkv'), first, count),
          ]);
          return j.map((join, k) => ({ join, plate: b[k]!, matte: m[k]!.data.slice(0, join.width * join.height) }));
        },
      });
    }
  if (scenes !== null)
    for (const s of readScenes(scenes)) {
      if (s.frames.length !== 1) continue;
      const at = {
        half: half(s.id),
        plate: s.plate,
        take: s.take,
        plateMarks: () => json(s.plateMarks),
        takeMarks: () => json(s.takeMarks),
        from: 0,
      } as const;
      out.push({ id: `own-${s.id}`, family: 'own', ...at });
      out.push({
        id: `true-${s.id}`,
        family: 'true',
        ...at,
        truth: async (_first, count) => {
          const file = (what: string): string => path(scenes, s.id, `${s.frames[0]}-${what}.png`);
          const truth = readPng(file('truth'));
          const base = readPng(file('base'));
          const m = readPng(file('matte'));
          const r = new RandomStream(s.id.length * 77);
          const clean = Array.from({ length: Math.min(count, 6) }, () => ({
            join: copy(truth),
            plate: copy(base),
            matte: m.data.slice(0, m.width * m.height),
          }));
          return finish(clean, { ...lookOf(r), soft: 0, grain: 0.01, crf: 18 }, r);
        },
      });
    }
  return out;
}

function copy(p: Picture): Picture {
  const out = createPicture(p.width, p.height, 3);
  out.data.set(p.data.subarray(0, 3 * p.width * p.height));
  return out;
}

/** What is kept of a held join beside its frames. */
interface Kept {
  readonly recipe: Recipe;
  readonly first: number;
  readonly made: readonly number[];
  readonly erased: boolean;
}

/** A matte as a picture of three like channels. */
function greyOf(matte: Float32Array, widthPx: number, heightPx: number): Picture {
  const p = createPicture(widthPx, heightPx, 3);
  for (let c = 0; c < 3; c++) p.data.set(matte, c * matte.length);
  return p;
}

/** Keeps `count` frames of the program's own join, through H.264, beside its mattes and the plate it stands on. */
async function keepOwn(
  file: (n: string) => string,
  plate: string,
  recipe: Recipe,
  tools: JoinOptions,
  first: number,
  count: number,
  mends: boolean,
): Promise<void> {
  // The pace's curve counts from the plate's first frame, so the recipe stays whole and some of its frames are made.
  const renderer = await JoinRenderer.open(recipe, tools);
  const { widthPx, heightPx, rate } = renderer.plateInfo;
  const mattes: Picture[] = [];
  const w = await VideoWriter.open(file('join.mp4'), {
    widthPx: widthPx - (widthPx % 2),
    heightPx,
    rate,
    codec: 'h264',
    crf: 14,
    preset: 'veryfast',
  });
  for await (const f of renderer.frames(first, first + count)) {
    await w.writeCoded(f.coded());
    mattes.push(greyOf(f.matte(), widthPx, heightPx));
  }
  await Promise.all([w.close(), renderer.close()]);
  await keep(file('join.mkv'), await range(file('join.mp4'), 0, count));
  await keep(file('matte.mkv'), mattes);
  const plates: Picture[] = [];
  if (mends) {
    const m = await MendedPlate.open(recipe, tools);
    for await (const f of m!.frames(first, first + count)) plates.push(toCodedRgb(f));
  } else plates.push(...(await range(plate, first, count)));
  await keep(file('plate.mkv'), plates);
}

/** Keeps a true picture beside its plate and matte. */
async function keepTrue(file: (n: string) => string, truths: readonly JoinFrame[]): Promise<void> {
  const kept = {
    'join.mkv': truths.map((f) => f.join),
    'plate.mkv': truths.map((f) => f.plate),
    'matte.mkv': truths.map((f) => greyOf(f.matte, f.join.width, f.join.height)),
  };
  for (const [name, frames] of Object.entries(kept)) await keep(file(name), frames);
}

/** Keeps what the inspection would render again on some frames; which of them there are. */
async function keepAgain(
  file: (n: string) => string,
  recipe: Recipe,
  tools: JoinOptions,
  first: number,
  count: number,
): Promise<number[]> {
  const bare = await BareJoin.open(recipe, tools);
  const made: number[] = [];
  for (const k of AGAIN) {
    const r = k < count ? ((await bare?.rendered(first + k)) ?? null) : null;
    if (r === null) continue;
    for (const [n, d] of [
      ['luma', r.luma],
      ['coded', r.expected.coded.data.subarray(0, 3 * r.luma.length)],
      ['matte', r.expected.matte],
    ] as const)
      writeFileSync(file(`again-${k}-${n}.f32`), Buffer.from(Float32Array.from(d).buffer));
    made.push(k);
  }
  await bare?.close();
  return made;
}

/** Proposes a source's recipe and keeps its frames; `recipe.json` comes last, so what was broken off is begun anew. */
async function make(s: Source, file: (n: string) => string): Promise<void> {
  const proposal = await proposeFromFiles(s.plate, s.take, s.plateMarks(), s.takeMarks(), 'fast');
  const length = proposal.recipe.plate.out - proposal.recipe.plate.in;
  const count = Math.min(COUNT, length);
  const first = proposal.recipe.plate.in + Math.min(s.from, length - count);
  const recipe: Recipe = { ...proposal.recipe, plate: { ...proposal.recipe.plate, in: first, out: first + count } };
  const tools: JoinOptions = {
    ...(await joinTools(recipe, s.plateMarks(), proposal.camera)),
    carrier: proposal.carrier,
    screens: proposal.screens,
  };
  const mends = recipe.steps.some(mendsPlate);
  const truths = await s.truth?.(first, count);
  if (truths === undefined) await keepOwn(file, s.plate, proposal.recipe, tools, first, count, mends);
  else await keepTrue(file, truths);
  const kept: Kept = {
    recipe: { ...(truths === undefined && mends ? reframedRecipe(proposal.recipe) : proposal.recipe) },
    first,
    made: await keepAgain(file, proposal.recipe, tools, first, count),
    erased: truths !== undefined && mends && s.id !== 'true-pan',
  };
  writeFileSync(file('recipe.json'), JSON.stringify(kept));
}

/** What was rendered again on a frame, as it was kept. */
function againOf(file: (n: string) => string, k: number, W: number, H: number): Again {
  const read = (n: string): Float32Array => {
    const q = readFileSync(file(n));
    return new Float32Array(q.buffer.slice(q.byteOffset, q.byteOffset + q.byteLength));
  };
  const coded = createPicture(W, H, 3);
  const luma = new Float32Array(W * H);
  coded.data.set(read(`again-${k}-coded.f32`));
  for (let i = 0; i < luma.length; i++)
    luma[i] = 0.2126 * coded.data[i]! + 0.7152 * coded.data[W * H + i]! + 0.0722 * coded.data[2 * W * H + i]!;
  return { luma: read(`again-${k}-luma.f32`), expected: { coded, luma, matte: read(`again-${k}-matte.f32`) } };
}

/** Renders what is not yet kept of a source; its frames, recipe and what is rendered again. */
export async function held(s: Source, folder: string): Promise<HeldJoin> {
  const at = path(folder, s.id);
  const file = (n: string): string => path(at, n);
  if (!existsSync(file('recipe.json'))) {
    mkdirSync(at, { recursive: true });
    await make(s, file);
  }
  const kept = JSON.parse(readFileSync(file('recipe.json'), 'utf8')) as Kept;
  const [j, b, m] = await Promise.all(['join.mkv', 'plate.mkv', 'matte.mkv'].map((f) => range(file(f), 0, COUNT)));
  const { width: W, height: H } = j![0]!;
  return {
    id: s.id,
    family: s.family,
    half: s.half,
    frames: j!.map((join, k) => ({ join, plate: b![k]!, matte: m![k]!.data.slice(0, W * H) })),
    first: kept.first,
    erased: kept.erased,
    recipe: kept.recipe,
    again: new Map(kept.made.map((k) => [k, againOf(file, k, W, H)] as const)),
  };
}

async function keep(file: string, list: readonly Picture[]): Promise<void> {
  const w = await VideoWriter.open(file, {
    widthPx: list[0]!.width,
    heightPx: list[0]!.height,
    rate: { num: 24, den: 1 },
    codec: 'ffv1',
    bits: 10,
  });
  for (const p of list) await w.writeCoded(p);
  await w.close();
}
