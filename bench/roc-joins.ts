/**
 * True joins for bench/inspect-roc.ts, from seeds: the practice set's four (`../shared/truth`) as
 * they are, scenes traced by bench/join-scenes.ts seen through another camera and file each time,
 * bodies rendered here, and real clips with an outline.
 */
import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { join as path } from 'node:path';
import { matteBox } from '../src/inspect/reader/frame.js';
import { groundGeometry } from '../src/join/ground/ground-geometry.js';
import { proposeFromFiles } from '../src/join/quick.js';
import type { GroundStep, Recipe } from '../src/join/types.js';
import { toCodedRgb } from '../src/media/convert.js';
import { VideoReader } from '../src/media/video-reader.js';
import { parseMarks } from '../src/plate/marks/marks.js';
import { readStills } from './exam-stills.js';
import { readScenes } from './join-scenes.js';
import { bodyJoin } from './made-join-bodies.js';
import { readPng, tracedJoin, type Still } from './made-joins.js';
import type { JoinFrame, MadeJoin } from './made-join-recipe.js';
import { realJoins } from './real-joins.js';
import { truthMarks } from './truth-marks.js';
import { TRUTH_SHOTS, readTruth, truthFile, truthFolder, truthKind } from './truth-set.js';

export type Family = MadeJoin['family'];
export const FAMILIES: readonly Family[] = ['practice', 'traced', 'body', 'real'];

/** Frames of each join, and its picture. */
const COUNT = 8;
const WIDTH = 480;
const HEIGHT = 300;

/** The recipe's ground and ride counted from `first`. */
function from(recipe: Recipe, first: number, count: number): Recipe {
  const cut = <F extends { readonly frame: number }>(list: readonly F[]): F[] =>
    list.filter((f) => f.frame >= first && f.frame < first + count).map((f) => ({ ...f, frame: f.frame - first }));
  const steps = recipe.steps.map((s) =>
    s.step === 'ground'
      ? { ...s, frames: cut(s.frames) }
      : s.step === 'ride'
        ? { ...s, placement: cut(s.placement) }
        : s,
  );
  return { ...recipe, plate: { ...recipe.plate, in: 0, out: count }, steps };
}

async function* practiceJoins(seed: number): AsyncGenerator<MadeJoin, void, undefined> {
  if (truthFolder() === null) {
    console.log('SKIPPED: ../shared/truth is not beside the checkout');
    return;
  }
  for (const shot of TRUTH_SHOTS) {
    const marks = truthMarks(shot);
    const truth = readTruth(shot);
    const { recipe } = await proposeFromFiles(
      truthFile(shot, 'plate.mp4'),
      truthFile(shot, 'take.mp4'),
      marks.plate,
      marks.take,
      'fast',
    );
    const readers = await Promise.all(
      ['joined.mp4', truthKind(shot) === 'pan' ? 'clean.mp4' : 'plate.mp4', 'performer-matte.mkv'].map((f) =>
        VideoReader.open(truthFile(shot, f)),
      ),
    );
    try {
      const total = readers[0]!.info.frameCount;
      const still = readers[1]!.info.frameCount === 1;
      const first = (7 * seed) % Math.max(1, total - COUNT);
      const frames: JoinFrame[] = [];
      const runs = readers.map((r, k) => (k === 1 && still ? r.frames(0, 1) : r.frames(first, first + COUNT)));
      for (let n = 0; n < COUNT; n++) {
        const [j, b, m] = (await Promise.all(runs.map((r) => r.next()))).map((r) =>
          r.done ? null : toCodedRgb(r.value),
        );
        if (j == null || m == null) break;
        frames.push({ join: j, plate: b ?? frames[0]!.plate, matte: m.data.slice(0, m.width * m.height) });
      }
      yield {
        id: `${shot}-${first}`,
        family: 'practice',
        frames,
        recipe: from(recipe, first, frames.length),
        light: (n) => truth.frames[first + n]?.sunInCamera ?? null,
      };
    } finally {
      await Promise.all(readers.map((r) => r.close()));
    }
  }
}

/** A scene's ground step as the program proposes it, kept beside it as ground.json. */
async function groundOf(folder: string, s: ReturnType<typeof readScenes>[number]): Promise<GroundStep | null> {
  const kept = path(folder, s.id, 'ground.json');
  if (!existsSync(kept)) {
    try {
      const { recipe } = await proposeFromFiles(
        s.plate,
        s.take,
        parseMarks(readFileSync(s.plateMarks, 'utf8'), 'plate'),
        parseMarks(readFileSync(s.takeMarks, 'utf8'), 'take'),
        'fast',
      );
      writeFileSync(kept, JSON.stringify(recipe.steps.find((q) => q.step === 'ground' && q.on) ?? null));
    } catch (e) {
      console.log(s.id, String(e));
      writeFileSync(kept, 'null');
    }
  }
  return JSON.parse(readFileSync(kept, 'utf8')) as GroundStep | null;
}

interface Place {
  readonly id: string;
  readonly base: string;
  readonly still: () => Still | null;
}

/** The exam's pictures by themselves: nothing says how their ground is lit. */
function examPlaces(folders: readonly string[]): Place[] {
  return readStills(folders).map((s) => ({
    id: s.id,
    base: s.base,
    still: () => {
      const truth = readPng(s.truth);
      const m = readPng(s.matte);
      const matte = m.data.slice(0, m.width * m.height);
      const box = matteBox(matte, m.width, m.height);
      return box === null
        ? null
        : {
            truth,
            base: readPng(s.base),
            matte,
            ground: null,
            foot: [(box[0] + box[2]) / 2, box[3] - 4] as const,
            sun: null,
          };
    },
  }));
}

async function places(folder: string | null, exam: readonly string[]): Promise<Place[]> {
  const out = examPlaces(exam);
  if (folder !== null)
    for (const s of readScenes(folder)) {
      const ground = await groundOf(folder, s);
      for (const k of s.frames) {
        const at = ground?.frames.find((g) => g.frame === k) ?? ground?.frames[0];
        const file = (what: string): string => path(folder, s.id, `${k}-${what}.png`);
        out.push({
          id: `${s.id}-${k}`,
          base: file('base'),
          still: () => {
            const truth = readPng(file('truth'));
            const base = readPng(file('base'));
            const m = readPng(file('matte'));
            const matte = m.data.slice(0, m.width * m.height);
            const box = matteBox(matte, m.width, m.height);
            if (box === null) return null;
            const one = ground === null || at === undefined ? null : { ...ground, frames: [at] };
            const sun =
              one === null
                ? null
                : (groundGeometry(one, at!, truth.width, truth.height).light as [number, number, number]);
            return {
              truth,
              base,
              matte,
              ground: one,
              foot:
                at !== undefined && Math.abs(at.foot[1] - box[3]) < 30
                  ? [at.foot[0], at.foot[1]]
                  : [(box[0] + box[2]) / 2, box[3] - 4],
              sun,
            };
          },
        });
      }
    }
  return out;
}

/**
 * All joins of a seed. `scenes`: a folder made by bench/join-scenes.ts, or null; `exam`: folders of
 * bench/exam-scenes.ts or bench/exam-stills.ts; `each`: how many of traced and of bodies, one after the other.
 */
export async function* trueJoins(
  seed: number,
  families: readonly Family[],
  scenes: string | null,
  each: number,
  exam: readonly string[] = [],
): AsyncGenerator<MadeJoin, void, undefined> {
  if (families.includes('practice')) yield* practiceJoins(seed);
  const list = await places(scenes, exam);
  if (families.includes('traced'))
    for (let k = 0; k < Math.min(each, list.length); k++) {
      const p = list[(seed * 5 + k * (each < list.length ? 7 : 1)) % list.length]!;
      const still = p.still();
      if (still !== null) yield await tracedJoin(p.id, still, 1000 * seed + k, COUNT, WIDTH, HEIGHT);
    }
  if (families.includes('body'))
    for (let k = 0; k < each; k++) {
      const p = list[(seed * 3 + k * 7) % Math.max(1, list.length)];
      const base = p === undefined ? await cleanPicture(seed + k) : readPng(p.base);
      if (base !== null)
        yield await bodyJoin(`body-${p?.id ?? 'practice'}`, () => base, 5000 * seed + k, COUNT, WIDTH, HEIGHT);
    }
  if (families.includes('real')) yield* realJoins(4);
}

async function cleanPicture(k: number): Promise<JoinFrame['join'] | null> {
  if (truthFolder() === null) return null;
  const r = await VideoReader.open(truthFile(TRUTH_SHOTS[k % TRUTH_SHOTS.length]!, 'clean.mp4'));
  try {
    const n = (11 * k) % r.info.frameCount;
    for await (const f of r.frames(n, n + 1)) return toCodedRgb(f);
    return null;
  } finally {
    await r.close();
  }
}
