/**
 * Erase against true clean pictures. `pan`: the truth set's pan shot, whose man and shadow go (`../shared/truth`,
 * beside the checkout). `room`: people walking through a locked-off room
 * (`../shared/footage/locked-off-people.mp4`, CC BY 4.0), marked by boxes about what differs from an empty frame.
 * PSNR over the replaced pixels, apart for what some frame shows and what none does; steadiness: rms change between
 * neighbouring frames along the set's motion, less the truth's own.
 * Run: `npx tsx bench/erase.ts [pan,room] [--every=N] [--from=N --count=N --empty=N] [--pictures=DIR] [--json]`.
 */
import { existsSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { plane, type Picture } from '../src/image/picture.js';
import { boxMean } from '../src/image/box.js';
import { connectedComponents } from '../src/image/components.js';
import { toCodedRgb } from '../src/media/convert.js';
import { VideoReader } from '../src/media/video-reader.js';
import { VideoWriter } from '../src/media/video-writer.js';
import type { RegionFile } from '../src/plate/marks/marks.js';
import { invert, multiply, transpose, type Mat3 } from '../src/geometry/mat3.js';
import { likePlate, measureOne } from './erase-score.js';
import type { BenchRow } from './rows.js';
import { truthMarks } from './truth-marks.js';
import { firstOf, readTruth, truthFile, truthFolder } from './truth-set.js';

const args = process.argv.slice(2);
const value = (name: string): string | undefined =>
  args.find((a) => a.startsWith(`--${name}=`))?.slice(name.length + 3);

async function pan(): Promise<{ seen: number | null; unseen: number | null } | null> {
  if (truthFolder() === null) {
    console.log('SKIPPED: pan, ../shared/truth is not beside the checkout');
    return null;
  }
  const shot = firstOf('pan');
  const region: RegionFile = {
    frames: truthMarks(shot).plate.marks.flatMap((m) =>
      m.kind === 'erase' ? [{ frame: m.frame ?? 0, polygon: m.polygon }] : [],
    ),
  };
  const truth = await VideoReader.open(truthFile(shot, 'clean.mp4'));
  const score = await measureOne(
    'pan',
    truthFile(shot, 'plate.mp4'),
    region,
    async (n) => toCodedRgb(await truth.frame(n)),
    false,
    (n) => {
      const t = readTruth(shot);
      const K: Mat3 = [t.focalPx, 0, t.principal[0], 0, t.focalPx, t.principal[1], 0, 0, 1];
      const r = (k: number): Mat3 => t.frames[k]!.rotationWorldToCamera.flat() as unknown as Mat3;
      return multiply(multiply(K, multiply(r(n - 1), transpose(r(n)))), invert(K));
    },
  );
  await truth.close();
  return score;
}

/** A part of the locked-off clip, cut out as its own lossless file so that the whole tool sees only that. */
async function room(): Promise<{ seen: number | null; unseen: number | null } | null> {
  const here = dirname(fileURLToPath(import.meta.url));
  const file = ['../../shared/footage/locked-off-people.mp4', '../../../shared/footage/locked-off-people.mp4']
    .map((p) => resolve(here, p))
    .find((p) => existsSync(p));
  if (file === undefined) {
    console.log('SKIPPED: room, ../shared/footage is not beside the checkout');
    return null;
  }
  const from = Number(value('from') ?? 0);
  const count = Number(value('count') ?? 80);
  const reader = await VideoReader.open(file);
  const { widthPx: w, heightPx: h, rate, colour } = reader.info;
  const empty = {
    ...toCodedRgb(await reader.frame(Number(value('empty') ?? 0))),
    data: toCodedRgb(await reader.frame(Number(value('empty') ?? 0))).data.slice(),
  };
  const folder = mkdtempSync(join(tmpdir(), 'bench-erase-'));
  const part = join(folder, 'part.mkv');
  const writer = await VideoWriter.open(part, {
    widthPx: w,
    heightPx: h,
    rate,
    codec: 'ffv1',
    colour: { ...colour, matrix: 'rgb', fullRange: true },
  });
  const frames: { frame: number; polygon: [number, number][] }[] = [];
  let k = 0;
  for await (const f of reader.frames(from, from + count)) {
    const p = toCodedRgb(f);
    await writer.writeCoded(p);
    if (k % 4 === 0) {
      const b = differenceBox(p, likePlate(empty, p, null));
      if (b !== null) frames.push({ frame: k, polygon: b });
    }
    k++;
  }
  await writer.close();
  await reader.close();
  if (frames.length === 0) {
    console.log('room: nobody is there');
    return null;
  }
  const score = await measureOne('room', part, { frames }, async () => empty, true);
  rmSync(folder, { recursive: true, force: true });
  return score;
}

/** Box about the largest thing that differs from the empty frame. */
function differenceBox(p: Picture, empty: Picture): [number, number][] | null {
  const { width: w, height: h } = p;
  const d = new Float32Array(w * h);
  for (let c = 0; c < 3; c++) {
    const a = plane(p, c);
    const b = plane(empty, c);
    for (let i = 0; i < d.length; i++) d[i] = Math.max(d[i]!, Math.abs(a[i]! - b[i]!));
  }
  const mean = boxMean(d, w, h, 3);
  const { components } = connectedComponents(
    Uint8Array.from(mean, (v) => (v > 0.05 ? 1 : 0)),
    w,
    h,
  );
  const big = [...components].filter((c) => c.area > 400);
  if (big.length === 0) return null;
  const x0 = Math.min(...big.map((c) => c.x0)) - 6;
  const y0 = Math.min(...big.map((c) => c.y0)) - 6;
  const x1 = Math.max(...big.map((c) => c.x1)) + 6;
  const y1 = Math.max(...big.map((c) => c.y1)) + 6;
  return [
    [x0, y0],
    [x1, y0],
    [x1, y1],
    [x0, y1],
  ];
}

/** Rows for `npm run bench`: the set is fixed, so the seed has no part. */
export async function run(_seed: number, _full = false): Promise<BenchRow[]> {
  const rows: BenchRow[] = [];
  for (const [name, score] of [
    ['pan of the practice set', await pan()],
    ['people in a locked-off room', await room()],
  ] as const) {
    if (score === null) continue;
    rows.push({
      name: `erase, ${name}: PSNR where some frame shows it`,
      ours: score.seen,
      reference: null,
      bar: 34,
      goal: 38,
      unit: 'dB',
      better: 'high',
    });
    rows.push({
      name: `erase, ${name}: PSNR where none does`,
      ours: score.unseen,
      reference: null,
      bar: 24,
      goal: null,
      unit: 'dB',
      better: 'high',
    });
  }
  return rows;
}

if (process.argv[1] !== undefined && resolve(process.argv[1]) === fileURLToPath(import.meta.url)) {
  const wanted = args.find((a) => !a.startsWith('--'))?.split(',') ?? ['pan', 'room'];
  if (wanted.includes('pan')) await pan();
  if (wanted.includes('room')) await room();
}
