/**
 * The inspection's matters over true joins of many cameras, grains, files and subjects (bench/made-joins.ts) and over the same
 * joins spoiled at several sizes: values a line as JSON, and a table of what true joins read, at which limit two in a hundred of
 * them would be blamed, and how many of the spoiled fail the limit that holds. Run:
 * `npx tsx bench/inspect-roc.ts SCENES OUT.jsonl [--seed=N] [--bodies=N] [--only=traced,body,real] [--spoils=N]`; SCENES is a folder made by bench/join-scenes.ts.
 */
import { appendFileSync, existsSync, readFileSync, writeFileSync } from 'node:fs';
import { join as path, resolve } from 'node:path';
import { lumaOf, matteBox, type SeenFrame } from '../src/inspect/frame.js';
import { SeriesReader } from '../src/inspect/series-reader.js';
import { judge } from '../src/inspect/verdict.js';
import type { Inspection } from '../src/inspect/types.js';
import { parseMarks } from '../src/plate/marks.js';
import { proposeFromFiles } from '../src/join/quick.js';
import type { GroundStep } from '../src/join/types.js';
import { groundGeometry } from '../src/join/ground.js';
import { RandomStream } from '../src/core/random.js';
import { readScenes } from './join-scenes.js';
import { bodyJoin, readPng, tracedJoin, type JoinFrame, type MadeJoin, type Still } from './made-joins.js';
import { realJoins } from './real-joins.js';
import { SPOIL_KINDS, SPOILS, Spoiler, type Spoil } from './spoiled-joins.js';

const COUNT = 10;

export function inspectFrames(made: MadeJoin, frames: readonly JoinFrame[]): Inspection {
  const reader = new SeriesReader(made.recipe, 0, frames.length, 5, false);
  frames.forEach((f, n) => {
    const { width: W, height: H } = f.join;
    const s: SeenFrame = { frame: n, join: f.join, plate: f.plate, luma: lumaOf(f.join), plateLuma: lumaOf(f.plate), matte: f.matte, box: matteBox(f.matte, W, H) };
    reader.add(s, null);
  });
  reader.finish();
  return judge(reader.series, made.recipe);
}

const spoiled = (made: MadeJoin, spoil: Spoil, size: number, seed: number): JoinFrame[] => {
  const s = new Spoiler(spoil, size, seed, made.frames.length, made.light);
  return made.frames.map((f) => ({ ...f, join: s.next(f.join, f.plate, f.matte) }));
};

async function stills(scenes: string): Promise<{ id: string; still: Still }[]> {
  const out: { id: string; still: Still }[] = [];
  for (const s of readScenes(scenes)) {
    let ground: GroundStep | null = null, sun: readonly [number, number, number] | null = null;
    const kept = path(scenes, s.id, 'ground.json');
    for (const k of s.frames) {
      const truth = readPng(path(scenes, s.id, `${k}-truth.png`)), base = readPng(path(scenes, s.id, `${k}-base.png`)), m = readPng(path(scenes, s.id, `${k}-matte.png`));
      const matte = m.data.slice(0, m.width * m.height), box = matteBox(matte, m.width, m.height);
      if (box === null) continue;
      if (k === s.frames[0] && !existsSync(kept)) {
        try {
          const { recipe } = await proposeFromFiles(s.plate, s.take, parseMarks(readFileSync(s.plateMarks, 'utf8'), 'plate'), parseMarks(readFileSync(s.takeMarks, 'utf8'), 'take'), 'fast');
          writeFileSync(kept, JSON.stringify(recipe.steps.find((q) => q.step === 'ground' && q.on) ?? null));
        } catch (e) { console.log(s.id, String(e)); writeFileSync(kept, 'null'); }
      }
      ground = JSON.parse(readFileSync(kept, 'utf8')) as GroundStep | null;
      const at = ground?.frames.find((g) => g.frame === k) ?? ground?.frames[0];
      if (ground !== null && at !== undefined) { ground = { ...ground, frames: [at] }; sun = groundGeometry(ground, at, truth.width, truth.height).light as [number, number, number]; }
      out.push({ id: `${s.id}-${k}`, still: { truth, base, matte, ground: at === undefined ? null : ground, foot: at !== undefined && Math.abs(at.foot[1] - box[3]) < 30 ? [at.foot[0], at.foot[1]] : [(box[0] + box[2]) / 2, box[3] - 4], sun } });
    }
  }
  return out;
}

const args = process.argv.slice(2), opt = (n: string, d: string): string => args.find((a) => a.startsWith(`--${n}=`))?.slice(n.length + 3) ?? d;
const scenes = resolve(args[0]!), file = resolve(args[1]!), seed = Number(opt('seed', '1')), only = opt('only', 'traced,body,real').split(','), per = Number(opt('spoils', '1'));
const record = (made: MadeJoin, spoil: string, size: number, r: Inspection): void => appendFileSync(file, JSON.stringify({ id: made.id, family: made.family, spoil, size, matters: Object.fromEntries(r.matters.filter((m) => m.value !== null && (made.tells === undefined || made.tells.includes(m.matter))).map((m) => [m.matter, [m.value, m.passes]])) , first: r.found?.[0] ?? null }) + '\n');

function look(made: MadeJoin, r: RandomStream): void {
  const t = Date.now();
  record(made, 'none', 0, inspectFrames(made, made.frames));
  if (made.tells === undefined) for (const spoil of SPOILS) {
    const kind = SPOIL_KINDS[spoil];
    if (kind.matter === 'shadow' && !made.recipe.steps.some((s) => s.step === 'ground')) continue;
    const sizes: readonly number[] = kind.sizes;
    for (let k = 0; k < Math.min(per, sizes.length); k++) {
      const size = per >= sizes.length ? sizes[k]! : sizes[r.below(sizes.length)]!;
      record(made, spoil, size, inspectFrames(made, spoiled(made, spoil, size, r.below(1e6))));
    }
  }
  console.log(made.id, Date.now() - t, 'ms');
}

const r = new RandomStream(seed);
if (only.includes('real')) for await (const m of realJoins(COUNT)) look(m, r);
const list = await stills(scenes);
if (only.includes('traced')) for (const [k, s] of list.entries()) look(await tracedJoin(s.id, s.still, 1000 * seed + k, COUNT), r);
if (only.includes('body')) for (let k = 0; k < Number(opt('bodies', '20')); k++) { const s = list[(k * 7) % list.length]!; look(await bodyJoin(`body-${s.id}`, () => s.still.base, 5000 * seed + k, COUNT), r); }
