/**
 * Erase against true clean pictures. `pan`: the truth set's pan shot, whose man and shadow go (`../shared/truth`, beside the
 * checkout). `room`: people walking through a locked-off room (`../shared/footage/locked-off-people.mp4`, CC BY 4.0), marked
 * by boxes about what differs from an empty frame. PSNR over the replaced pixels, apart for what some frame shows and what none does;
 * steadiness: rms change between neighbouring frames along the set's motion, less the truth's own.
 * Run: `npx tsx bench/erase.ts [pan,room] [--grain] [--from=N --count=N --empty=N] [--out=DIR] [--json]`.
 */
import { existsSync, mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { plane, type Picture } from '../src/image/picture.js';
import { boxMean } from '../src/image/box.js';
import { connectedComponents } from '../src/image/components.js';
import { toCodedRgb } from '../src/media/convert.js';
import { VideoReader } from '../src/media/video-reader.js';
import { VideoWriter } from '../src/media/video-writer.js';
import { writePng16 } from '../src/media/stills.js';
import type { RegionFile } from '../src/plate/marks.js';
import { eraseFile } from '../src/join/erase-file.js';
import type { CleanedBox } from '../src/join/erase.js';
import { apply, IDENTITY3, invert, multiply, transpose, type Mat3 } from '../src/geometry/mat3.js';
import { sampleBilinear } from '../src/image/sampling.js';
import type { BenchRow } from './rows.js';
import { readTruth, truthFile, truthFolder, truthMarks } from './truth-marks.js';

const args = process.argv.slice(2);
const value = (name: string): string | undefined => args.find((a) => a.startsWith(`--${name}=`))?.slice(name.length + 3);
const outDir = value('out');
if (outDir !== undefined) mkdirSync(outDir, { recursive: true });

interface Score { seen: number; seenN: number; unseen: number; unseenN: number; worst: number; worstFrame: number; flicker: number; flickerN: number }

/** Compares clean frames with the truth as they come. */
async function measureOne(name: string, file: string, region: RegionFile, truthAt: (n: number) => Promise<Picture>, exposed = false, toBefore: (n: number) => Mat3 = () => IDENTITY3): Promise<{ seen: number | null; unseen: number | null }> {
  const s: Score = { seen: 0, seenN: 0, unseen: 0, unseenN: 0, worst: Infinity, worstFrame: -1, flicker: 0, flickerN: 0 };
  const kept: { n: number; clean: Picture; box: CleanedBox | null }[] = [];
  let before: { error: Float32Array; cover: Float32Array } | null = null;
  const t0 = performance.now();
  const report = await eraseFile(file, region, null, { grain: args.includes('--grain'), onFrame: (n, clean, box) => { kept.push({ n, clean: { ...clean, data: clean.data.slice() }, box }); } });
  const seconds = (performance.now() - t0) / 1000;
  for (const k of kept) {
    const truth = exposed ? likePlate(await truthAt(k.n), k.clean, k.box) : await truthAt(k.n);
    const { width: w } = truth;
    const N = truth.width * truth.height;
    const error = new Float32Array(N), cover = new Float32Array(N);
    let sum = 0, count = 0;
    if (k.box !== null) {
      const [x0, y0, x1, y1] = k.box.box;
      for (let y = y0; y < y1; y++) for (let x = x0; x < x1; x++) {
        const b = (y - y0) * (x1 - x0) + x - x0, i = y * w + x;
        if (k.box.cover[b]! < 0.99) continue;
        let e = 0;
        for (let c = 0; c < 3; c++) e += (k.clean.data[c * N + i]! - truth.data[c * N + i]!) ** 2 / 3;
        if (k.box.madeUp[b]! > 0.5) { s.unseen += e; s.unseenN++; } else { s.seen += e; s.seenN++; }
        sum += e; count++;
        cover[i] = 1;
        error[i] = 0.2126 * (k.clean.data[i]! - truth.data[i]!) + 0.7152 * (k.clean.data[N + i]! - truth.data[N + i]!) + 0.0722 * (k.clean.data[2 * N + i]! - truth.data[2 * N + i]!);
      }
    }
    if (count > 200) { const p = -10 * Math.log10(sum / count); if (p < s.worst) { s.worst = p; s.worstFrame = k.n; } }
    if (before !== null) {
      // Along the set's true motion, so that a still fill is seen to be still.
      const m = toBefore(k.n), h = truth.height;
      for (let i = 0; i < N; i++) {
        if (cover[i]! === 0) continue;
        const [x, y] = apply(m, (i % w) + 0.5, Math.floor(i / w) + 0.5);
        if (!(x > 1 && y > 1 && x < w - 1 && y < h - 1) || before.cover[Math.floor(y) * w + Math.floor(x)]! === 0) continue;
        s.flicker += (error[i]! - sampleBilinear(before.error, w, h, x, y)) ** 2;
        s.flickerN++;
      }
    }
    before = { error, cover };
    if (outDir !== undefined && k.n % Math.max(1, Math.floor(kept.length / 4)) === 0) {
      await writePng16(join(outDir, `${name}_${String(k.n).padStart(4, '0')}_clean.png`), k.clean);
      await writePng16(join(outDir, `${name}_${String(k.n).padStart(4, '0')}_truth.png`), truth);
    }
  }
  const db = (e: number, n: number): number | null => (n === 0 ? null : Math.round(-100 * Math.log10(e / n)) / 10);
  const row = { shot: name, psnrSeen: db(s.seen, s.seenN), psnrUnseen: db(s.unseen, s.unseenN), unseenShare: s.unseenN / Math.max(1, s.seenN + s.unseenN), worst: Math.round(10 * s.worst) / 10, worstFrame: s.worstFrame, flickerRms: Math.sqrt(s.flicker / Math.max(1, s.flickerN)), sources: report.sources.length, move: report.move, framesPerSecond: report.frames / seconds };
  if (args.includes('--json')) console.log(JSON.stringify(row));
  else console.log(`${name}: seen ${row.psnrSeen} dB (34 bar, 38 goal), never seen ${row.psnrUnseen} dB (24) on ${(100 * row.unseenShare).toFixed(1)} %, worst frame ${row.worstFrame} ${row.worst} dB, error changes by ${(255 * row.flickerRms).toFixed(2)}/255 a frame; ${row.sources} sources, ${row.move}, ${row.framesPerSecond.toFixed(1)} frames/s`);
  return { seen: row.psnrSeen, unseen: row.psnrUnseen };
}

/** The truth in the light of the frame: the camera exposes by itself, so gain and offset a channel are fitted over what was not replaced. */
function likePlate(truth: Picture, clean: Picture, box: CleanedBox | null): Picture {
  const N = truth.width * truth.height;
  const out = { ...truth, data: truth.data.slice() };
  const outside = new Uint8Array(N).fill(1);
  if (box !== null) { const [x0, y0, x1, y1] = box.box; for (let y = y0; y < y1; y++) for (let x = x0; x < x1; x++) if (box.cover[(y - y0) * (x1 - x0) + x - x0]! > 0) outside[y * truth.width + x] = 0; }
  for (let c = 0; c < 3; c++) {
    let n = 0, sx = 0, sy = 0, sxx = 0, sxy = 0;
    for (let i = 0; i < N; i++) { if (outside[i] === 0) continue; const x = truth.data[c * N + i]!, y = clean.data[c * N + i]!; if (x > 0.97 || y > 0.97) continue; n++; sx += x; sy += y; sxx += x * x; sxy += x * y; }
    if (n < 2000) continue;
    const g = (n * sxy - sx * sy) / (n * sxx - sx * sx), o = (sy - g * sx) / n;
    for (let i = 0; i < N; i++) out.data[c * N + i] = Math.min(1, g * truth.data[c * N + i]! + o);
  }
  return out;
}

async function pan(): Promise<{ seen: number | null; unseen: number | null } | null> {
  if (truthFolder() === null) { console.log('SKIPPED: pan, ../shared/truth is not beside the checkout'); return null; }
  const region: RegionFile = { frames: truthMarks('pan').plate.marks.flatMap((m) => (m.kind === 'erase' ? [{ frame: m.frame ?? 0, polygon: m.polygon }] : [])) };
  const truth = await VideoReader.open(truthFile('pan', 'clean.mp4'));
  const score = await measureOne('pan', truthFile('pan', 'plate.mp4'), region, async (n) => toCodedRgb(await truth.frame(n)), false, (n) => {
    const t = readTruth('pan'), K: Mat3 = [t.focalPx, 0, t.principal[0], 0, t.focalPx, t.principal[1], 0, 0, 1];
    const r = (k: number): Mat3 => t.frames[k]!.rotationWorldToCamera.flat() as unknown as Mat3;
    return multiply(multiply(K, multiply(r(n - 1), transpose(r(n)))), invert(K));
  });
  await truth.close();
  return score;
}

/** A part of the locked-off clip, cut out as its own lossless file so that the whole tool sees only that. */
async function room(): Promise<{ seen: number | null; unseen: number | null } | null> {
  const here = dirname(fileURLToPath(import.meta.url));
  const file = ['../../shared/footage/locked-off-people.mp4', '../../../shared/footage/locked-off-people.mp4'].map((p) => resolve(here, p)).find((p) => existsSync(p));
  if (file === undefined) { console.log('SKIPPED: room, ../shared/footage is not beside the checkout'); return null; }
  const from = Number(value('from') ?? 0), count = Number(value('count') ?? 80);
  const reader = await VideoReader.open(file);
  const { widthPx: w, heightPx: h, rate, colour } = reader.info;
  const empty = { ...toCodedRgb(await reader.frame(Number(value('empty') ?? 0))), data: toCodedRgb(await reader.frame(Number(value('empty') ?? 0))).data.slice() };
  const folder = mkdtempSync(join(tmpdir(), 'bench-erase-')), part = join(folder, 'part.mkv');
  const writer = await VideoWriter.open(part, { widthPx: w, heightPx: h, rate, codec: 'ffv1', colour: { ...colour, matrix: 'rgb', fullRange: true } });
  const frames: { frame: number; polygon: [number, number][] }[] = [];
  let k = 0;
  for await (const f of reader.frames(from, from + count)) {
    const p = toCodedRgb(f);
    await writer.writeCoded(p);
    if (k % 4 === 0) { const b = differenceBox(p, likePlate(empty, p, null)); if (b !== null) frames.push({ frame: k, polygon: b }); }
    k++;
  }
  await writer.close();
  await reader.close();
  if (frames.length === 0) { console.log('room: nobody is there'); return null; }
  const score = await measureOne('room', part, { frames }, async () => empty, true);
  rmSync(folder, { recursive: true, force: true });
  return score;
}

/** Box about the largest thing that differs from the empty frame. */
function differenceBox(p: Picture, empty: Picture): [number, number][] | null {
  const { width: w, height: h } = p;
  const d = new Float32Array(w * h);
  for (let c = 0; c < 3; c++) { const a = plane(p, c), b = plane(empty, c); for (let i = 0; i < d.length; i++) d[i] = Math.max(d[i]!, Math.abs(a[i]! - b[i]!)); }
  const mean = boxMean(d, w, h, 3);
  const { components } = connectedComponents(Uint8Array.from(mean, (v) => (v > 0.05 ? 1 : 0)), w, h);
  const big = [...components].filter((c) => c.area > 400);
  if (big.length === 0) return null;
  const x0 = Math.min(...big.map((c) => c.x0)) - 6, y0 = Math.min(...big.map((c) => c.y0)) - 6, x1 = Math.max(...big.map((c) => c.x1)) + 6, y1 = Math.max(...big.map((c) => c.y1)) + 6;
  return [[x0, y0], [x1, y0], [x1, y1], [x0, y1]];
}

/** Rows for `npm run bench`: the set is fixed, so the seed has no part. */
export async function run(_seed: number, _full = false): Promise<BenchRow[]> {
  const rows: BenchRow[] = [];
  for (const [name, score] of [['pan of the practice set', await pan()], ['people in a locked-off room', await room()]] as const) {
    if (score === null) continue;
    rows.push({ name: `erase, ${name}: PSNR where some frame shows it`, ours: score.seen, reference: null, bar: 34, goal: 38, unit: 'dB', better: 'high' });
    rows.push({ name: `erase, ${name}: PSNR where none does`, ours: score.unseen, reference: null, bar: 24, goal: null, unit: 'dB', better: 'high' });
  }
  return rows;
}

if (process.argv[1] !== undefined && resolve(process.argv[1]) === fileURLToPath(import.meta.url)) {
  const wanted = args.find((a) => !a.startsWith('--'))?.split(',') ?? ['pan', 'room'];
  if (wanted.includes('pan')) await pan();
  if (wanted.includes('room')) await room();
}
