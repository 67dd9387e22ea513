/**
 * Patch on a real moving head with known truth: a stretch of `../shared/footage/green-wall-person.mp4` (CC0) is
 * the target; the source is the same stretch turned, scaled, shifted, in a brighter and warmer light, each
 * outline drawn by hand on one frame two pixels off. Laying the source's mouth or face onto the target must give
 * the target back: PSNR over the pixels changed (display-coded R'G'B') and the worst frame. Beside it the same
 * without any correction of place and light, by the outlines alone. The seed moves the turn, size, shift, light
 * and the hand's error of the outlines. Run: `npm run bench -- patch --seed 3`, or for pictures `npx tsx
 * bench/patch.ts [--seed=N] [--from=N] [--out=DIR]`.
 */
import { existsSync, mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { RandomStream } from '../src/core/random.js';
import { apply, multiply, type Mat3, type Point2 } from '../src/geometry/mat3.js';
import type { Picture } from '../src/image/picture.js';
import { rasterizePolygon } from '../src/image/polygon.js';
import { warpHomography } from '../src/image/warp.js';
import { similarityBetween } from '../src/geometry/similarity.js';
import { takePatcher } from '../src/join/patch/patch-take.js';
import { toCodedRgb } from '../src/media/convert.js';
import { writePng16 } from '../src/media/stills.js';
import { VideoReader } from '../src/media/video-reader.js';
import { VideoWriter } from '../src/media/video-writer.js';
import type { BenchRow } from './rows.js';

const FILE = fileURLToPath(new URL('../../shared/footage/green-wall-person.mp4', import.meta.url));
const COUNT = 30;
const value = (name: string): string | undefined =>
  process.argv.find((a) => a.startsWith(`--${name}=`))?.slice(name.length + 3);
const outDir = value('out');
if (outDir !== undefined) mkdirSync(outDir, { recursive: true });

const ellipse = (cx: number, cy: number, rx: number, ry: number): [number, number][] =>
  Array.from({ length: 20 }, (_, i) => [
    cx + rx * Math.cos((i * Math.PI) / 10),
    cy + ry * Math.sin((i * Math.PI) / 10),
  ]);

/** Rows for `npm run bench -- patch`; none (and a line that says so) where the clip is absent. */
export async function run(seed: number): Promise<BenchRow[]> {
  if (!existsSync(FILE)) {
    console.log('SKIPPED: green-wall-person.mp4 is not in ../shared/footage beside the checkout');
    return [];
  }
  const from = Number(value('from') ?? 420);
  const rows: BenchRow[] = [];
  for (const [name, outline] of [
    ['mouth', ellipse(182, 116, 22, 14)],
    ['face', ellipse(182, 92, 30, 40)],
  ] as const)
    rows.push(await one(name, outline, from, seed));
  return rows;
}

/** Two films of one head: `target.mkv` as it was filmed, `source.mkv` moved and relit; and the outlines on frame 0. */
interface Pair {
  readonly folder: string;
  readonly widthPx: number;
  readonly heightPx: number;
  /** The part on the target, and where the hand drew it on the source. */
  readonly outline: readonly Point2[];
  readonly off: readonly Point2[];
}

/** Writes both films into a new folder, which the caller removes. */
async function makePair(outline: readonly Point2[], from: number, seed: number): Promise<Pair> {
  const random = new RandomStream(seed);
  const reader = await VideoReader.open(FILE);
  const { widthPx: w, heightPx: h, rate, colour } = reader.info;
  const folder = mkdtempSync(join(tmpdir(), 'bench-patch-'));
  const options = {
    widthPx: w,
    heightPx: h,
    rate,
    codec: 'ffv1',
    colour: { ...colour, matrix: 'rgb', fullRange: true },
  } as const;
  const target = await VideoWriter.open(join(folder, 'target.mkv'), options);
  const source = await VideoWriter.open(join(folder, 'source.mkv'), options);
  const moved = drawMove(random, w, h);
  const exposure = 1 + 0.1 * random.normal();
  const light = [exposure * (1 + 0.06 * random.normal()), exposure, exposure * (1 + 0.06 * random.normal())];
  for (let k = 0; k < COUNT; k++) {
    const p = toCodedRgb(await reader.frame(from + k));
    const t = { ...p, data: p.data.slice() };
    await target.writeCoded(t);
    const q = warpHomography(t, moved, w, h, LAID);
    for (let i = 0; i < q.data.length; i++)
      q.data[i] = Math.min(1, Math.max(0, q.data[i]! * light[Math.floor(i / (w * h))]!));
    await source.writeCoded(q);
  }
  await target.close();
  await source.close();
  await reader.close();
  const off = outline.map(([x, y]): Point2 => {
    const [u, v] = apply(moved, x, y);
    return [u + 1.5 + 0.7 * random.normal(), v - 1.3 + 0.7 * random.normal()];
  });
  return { folder, widthPx: w, heightPx: h, outline, off };
}

const LAID = { filter: 'lanczos3', boundary: 'clamp' } as const;

/** A turn and scale about the picture's middle, and a shift. */
function drawMove(random: RandomStream, w: number, h: number): Mat3 {
  const a = 0.07 * random.normal();
  const s = 1 + 0.06 * random.normal();
  const c = s * Math.cos(a);
  const d = s * Math.sin(a);
  return multiply(
    [1, 0, w / 2 + 6 * random.normal(), 0, 1, h / 2 + 5 * random.normal(), 0, 0, 1],
    multiply([c, -d, 0, d, c, 0, 0, 0, 1], [1, 0, -w / 2, 0, 1, -h / 2, 0, 0, 1]),
  );
}

/** The patcher as a recipe would have it. */
function patcherOf({ folder, outline, off }: Pair): ReturnType<typeof takePatcher> {
  const region = (polygon: readonly Point2[]) => ({
    frames: [{ frame: 0, polygon: polygon.map(([x, y]): [number, number] => [x, y]) }],
  });
  return takePatcher(
    {
      step: 'patch',
      on: true,
      why: '',
      source: join(folder, 'source.mkv'),
      sourceRegion: region(off),
      targetRegion: region(outline),
      offsetFrames: 0,
    },
    join(folder, 'target.mkv'),
  );
}

const decibels = (meanSquare: number): number => -10 * Math.log10(meanSquare);

/** Squared difference of what a patch changed on one frame, summed, and how many values that are. */
function changedBy(patched: Picture, truth: Picture): { readonly sum: number; readonly count: number } {
  let sum = 0;
  let count = 0;
  for (let i = 0; i < truth.data.length; i++) {
    if (patched.data[i] === truth.data[i]) continue;
    sum += (patched.data[i]! - truth.data[i]!) ** 2;
    count++;
  }
  return { sum, count };
}

/** The source laid on by the outlines alone, without any correction: PSNR within the outline on frame 0. */
async function byOutlines(pair: Pair, inside: Float32Array, truth: Picture): Promise<number> {
  const { widthPx: w, heightPx: h } = pair;
  const source = await VideoReader.open(join(pair.folder, 'source.mkv'));
  const bare = warpHomography(toCodedRgb(await source.frame(0)), similarityBetween(pair.off, pair.outline), w, h, LAID);
  await source.close();
  let sum = 0;
  for (let i = 0; i < truth.data.length; i++)
    if (inside[i % (w * h)]! > 0.5) sum += (bare.data[i]! - truth.data[i]!) ** 2;
  return decibels(sum / areaOf(inside));
}

/** Values (three a pixel) within an outline. */
const areaOf = (inside: Float32Array): number => 3 * inside.reduce((v, x) => v + (x > 0.5 ? 1 : 0), 0);

async function one(name: string, outline: readonly Point2[], from: number, seed: number): Promise<BenchRow> {
  const pair = await makePair(outline, from, seed);
  const inside = rasterizePolygon(outline, pair.widthPx, pair.heightPx);
  const patcher = await patcherOf(pair);
  const clip = await VideoReader.open(join(pair.folder, 'target.mkv'));
  let all = 0;
  let changed = 0;
  let worst = { db: Infinity, frame: 0 };
  let alone = 0;
  for (let k = 0; k < COUNT; k++) {
    const frame = await clip.frame(k);
    const p = toCodedRgb(frame);
    const truth = { ...p, data: p.data.slice() };
    const patched = toCodedRgb(await patcher.patch(frame));
    if (k === 0) alone = await byOutlines(pair, inside, truth);
    const { sum, count } = changedBy(patched, truth);
    if (count > 0) {
      const db = decibels(sum / count);
      if (db < worst.db) worst = { db, frame: k };
      all += sum;
      changed += count;
    }
    if (outDir !== undefined && k % 10 === 0) {
      await writePng16(join(outDir, `${name}-${k}.png`), patched);
      await writePng16(join(outDir, `${name}-${k}-truth.png`), truth);
    }
  }
  await patcher.close();
  await clip.close();
  rmSync(pair.folder, { recursive: true, force: true });
  console.log(
    `  ${name}: ${((100 * changed) / (COUNT * areaOf(inside))).toFixed(0)} % of the outline's pixels changed, ` +
      `worst frame ${worst.frame} ${worst.db.toFixed(1)} dB`,
  );
  return {
    name: `another take's ${name} on a moving head, PSNR of what changed, beside the outlines alone`,
    ours: decibels(all / changed),
    reference: alone,
    bar: null,
    goal: null,
    unit: 'dB',
    better: 'high',
  };
}

if (process.argv[1] === fileURLToPath(import.meta.url))
  for (const r of await run(Number(value('seed') ?? 4))) console.log(r);
