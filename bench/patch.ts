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
import { apply, multiply, type Mat3 } from '../src/geometry/mat3.js';
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

async function one(name: string, outline: [number, number][], from: number, seed: number): Promise<BenchRow> {
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
  const a = 0.07 * random.normal();
  const s = 1 + 0.06 * random.normal();
  const c = s * Math.cos(a);
  const d = s * Math.sin(a);
  const moved: Mat3 = multiply(
    [1, 0, w / 2 + 6 * random.normal(), 0, 1, h / 2 + 5 * random.normal(), 0, 0, 1],
    multiply([c, -d, 0, d, c, 0, 0, 0, 1], [1, 0, -w / 2, 0, 1, -h / 2, 0, 0, 1]),
  );
  const exposure = 1 + 0.1 * random.normal();
  const light = [exposure * (1 + 0.06 * random.normal()), exposure, exposure * (1 + 0.06 * random.normal())];
  for (let k = 0; k < COUNT; k++) {
    const p = toCodedRgb(await reader.frame(from + k));
    const t = { ...p, data: p.data.slice() };
    await target.writeCoded(t);
    const q = warpHomography(t, moved, w, h, { filter: 'lanczos3', boundary: 'clamp' });
    for (let i = 0; i < q.data.length; i++)
      q.data[i] = Math.min(1, Math.max(0, q.data[i]! * light[Math.floor(i / (w * h))]!));
    await source.writeCoded(q);
  }
  await target.close();
  await source.close();
  await reader.close();
  const off: [number, number][] = outline.map(([x, y]) => {
    const [u, v] = apply(moved, x, y);
    return [u + 1.5 + 0.7 * random.normal(), v - 1.3 + 0.7 * random.normal()];
  });
  const region = (polygon: [number, number][]) => ({ frames: [{ frame: 0, polygon }] });
  const patcher = await takePatcher(
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
  const plain = similarityBetween(off, outline);
  const clip = await VideoReader.open(join(folder, 'target.mkv'));
  const other = await VideoReader.open(join(folder, 'source.mkv'));
  const inside = rasterizePolygon(outline, w, h);
  let e = 0;
  let n = 0;
  let worst = Infinity;
  let e0 = 0;
  let worstAt = 0;
  for (let k = 0; k < COUNT; k++) {
    const frame = await clip.frame(k);
    const p = toCodedRgb(frame);
    const truth = { ...p, data: p.data.slice() };
    const patched = await patcher.patch(frame);
    const q = toCodedRgb(patched);
    const bare = warpHomography(toCodedRgb(await other.frame(k)), plain, w, h, {
      filter: 'lanczos3',
      boundary: 'clamp',
    });
    let sum = 0;
    let count = 0;
    for (let i = 0; i < truth.data.length; i++) {
      const changed = q.data[i] !== truth.data[i];
      if (changed) {
        sum += (q.data[i]! - truth.data[i]!) ** 2;
        count++;
      }
      if (inside[i % (w * h)]! > 0.5 && k === 0) e0 += (bare.data[i]! - truth.data[i]!) ** 2;
    }
    if (count > 0) {
      const v = -10 * Math.log10(sum / count);
      if (v < worst) {
        worst = v;
        worstAt = k;
      }
      e += sum;
      n += count;
    }
    if (outDir !== undefined && k % 10 === 0) {
      await writePng16(join(outDir, `${name}-${k}.png`), q);
      await writePng16(join(outDir, `${name}-${k}-truth.png`), truth);
    }
  }
  await patcher.close();
  await clip.close();
  await other.close();
  rmSync(folder, { recursive: true, force: true });
  const area = 3 * inside.reduce((v, x) => v + (x > 0.5 ? 1 : 0), 0);
  const alone = -10 * Math.log10(e0 / area);
  const db = -10 * Math.log10(e / n);
  console.log(
    `  ${name}: ${((100 * n) / (COUNT * area)).toFixed(0)} % of the outline's pixels changed, ` +
      `worst frame ${worstAt} ${worst.toFixed(1)} dB`,
  );
  return {
    name: `another take's ${name} on a moving head, PSNR of what changed, beside the outlines alone`,
    ours: db,
    reference: alone,
    bar: null,
    goal: null,
    unit: 'dB',
    better: 'high',
  };
}

if (process.argv[1] === fileURLToPath(import.meta.url))
  for (const r of await run(Number(value('seed') ?? 4))) console.log(r);
