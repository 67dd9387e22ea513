/**
 * Cuts against known reels. `npx tsx bench/cuts.ts [--seeds 1,2,3] [--transitions 60] [--hard] [--encoded] [--footage
 * DIR | --other]`. Reels are made from the open clips of `../shared/footage` where they are (said loudly where not) and
 * from made scenes. Beside this program: FFmpeg's scene score by its published formula (libavfilter/vf_scdet.c:
 * min(mafd, |mafd − previous mafd|) of mean absolute luma difference, threshold 10 %, and > 0.3), and a colour
 * histogram with a threshold that follows its neighbourhood. Bar: precision .98, recall .92, F1 .95, cut recall .98,
 * gradual recall .80; scan at least 0.8 of bare decode.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { CutDetector } from '../src/film/cut-detector.js';
import { findCuts } from '../src/film/find-cuts.js';
import { shotsOf } from '../src/film/shot-events.js';
import { smallFrame } from '../src/film/small-frame.js';
import { createPicture } from '../src/image/picture.js';
import { VideoReader } from '../src/media/video-reader.js';
import { VideoWriter } from '../src/media/video-writer.js';
import { emptyScore, ratios, scoreCuts, type CutScore, type Found } from './cut-score.js';
import type { BenchRow } from './rows.js';
import { makeReel, type Reel } from './reel-maker.js';
import { H, W, asFrame, loadOtherSources, loadSources } from './cut-sources.js';

export function ours(reel: Reel): Found[] {
  const d = new CutDetector();
  reel.frames.forEach((f, i) => d.push(smallFrame(asFrame(f, i))));
  return shotsOf(d.finish(), reel.frames.length)
    .slice(1)
    .map((s) => ({ at: s.in, ...(s.over ? { over: s.over } : {}) }));
}

/** FFmpeg's scene score, 0..100, by the published formula. */
function sceneScores(reel: Reel): Float64Array {
  const out = new Float64Array(reel.frames.length);
  let before = 0;
  for (let t = 1; t < reel.frames.length; t++) {
    const a = reel.frames[t - 1]!;
    const b = reel.frames[t]!;
    let s = 0;
    for (let i = 0; i < W * H; i++) s += Math.abs(a[i]! - b[i]!);
    const mafd = (100 * s) / (W * H) / 256;
    out[t] = Math.max(0, Math.min(100, Math.min(mafd, Math.abs(mafd - before))));
    before = mafd;
  }
  return out;
}

/** 8 × 4 × 4 Y'CbCr histogram distance, marked where it stands out of the mean of ±8 frames. */
function histogramCuts(reel: Reel): Found[] {
  const hist = reel.frames.map((f) => {
    const h = new Float64Array(128);
    for (let y = 0; y < H / 2; y++)
      for (let x = 0; x < W / 2; x++) {
        const c = y * (W / 2) + x;
        h[(f[2 * y * W + 2 * x]! >> 5) * 16 + (f[W * H + c]! >> 6) * 4 + (f[W * H * 1.25 + c]! >> 6)]! += 4 / (W * H);
      }
    return h;
  });
  const d = hist.map((h, t) => (t === 0 ? 0 : h.reduce((s, v, i) => s + Math.abs(v - hist[t - 1]![i]!), 0)));
  const out: Found[] = [];
  for (let t = 1; t < d.length; t++) {
    let s = 0;
    let n = 0;
    for (let k = Math.max(1, t - 8); k <= Math.min(d.length - 1, t + 8); k++)
      if (k !== t) {
        s += d[k]!;
        n++;
      }
    if (d[t]! > 0.35 && d[t]! > 3 * (s / n) && d[t]! >= (d[t - 1] ?? 0) && d[t]! >= (d[t + 1] ?? 0))
      out.push({ at: t });
  }
  return out;
}

function line(name: string, s: CutScore): string {
  const r = ratios(s);
  return (
    `${name.padEnd(26)} precision ${r.precision.toFixed(3)}  recall ${r.recall.toFixed(3)}  F1 ${r.f1.toFixed(3)}  ` +
    `cuts ${r.cutRecall.toFixed(3)}  gradual ${r.gradualRecall.toFixed(3)}  span ±${r.spanError.toFixed(1)}  ` +
    `wipes and punch-ins ${r.hardRecall.toFixed(2)}`
  );
}

function processorMs(): number {
  const u = process.cpuUsage();
  return (u.user + u.system) / 1000;
}

/**
 * Encodes a reel, decodes it bare and scans it in turn, three times; returns the best of each, in processor time (a
 * shared machine makes any other worthless), and what the scan found.
 */
async function encoded(reel: Reel): Promise<{ found: Found[]; decodeMs: number; scanMs: number }> {
  const dir = mkdtempSync(join(tmpdir(), 'reel-'));
  const path = join(dir, 'reel.mp4');
  try {
    const w = 640;
    const h = 360;
    const writer = await VideoWriter.open(path, {
      widthPx: w,
      heightPx: h,
      rate: { num: 24, den: 1 },
      codec: 'h264',
      crf: 20,
    });
    const p = createPicture(w, h, 3);
    for (const f of reel.frames) {
      for (let y = 0; y < h; y++)
        for (let x = 0; x < w; x++) {
          const sx = Math.floor((x * W) / w);
          const sy = Math.floor((y * H) / h);
          const c = (sy >> 1) * (W / 2) + (sx >> 1);
          const l = (f[sy * W + sx]! - 16) / 219;
          const cb = (f[W * H + c]! - 128) / 224;
          const cr = (f[W * H * 1.25 + c]! - 128) / 224;
          const i = y * w + x;
          p.data[i] = l + 1.5748 * cr;
          p.data[w * h + i] = l - 0.1873 * cb - 0.4681 * cr;
          p.data[2 * w * h + i] = l + 1.8556 * cb;
        }
      await writer.writeCoded(p);
    }
    await writer.close();
    let decodeMs = Infinity;
    let scanMs = Infinity;
    let found: Found[] = [];
    const reader = await VideoReader.open(path);
    for (let k = 0; k < 3; k++) {
      let t = processorMs();
      let n = 0;
      for await (const f of reader.frames()) n += f.widthPx > 0 ? 1 : 0;
      decodeMs = Math.min(decodeMs, processorMs() - t);
      t = processorMs();
      const list = await findCuts(reader);
      scanMs = Math.min(scanMs, processorMs() - t);
      found = list.shots.slice(1).map((s) => ({ at: s.in, ...(s.over ? { over: s.over } : {}) }));
      if (n !== reel.frames.length) throw new Error(`the encoded reel has ${n} frames, not ${reel.frames.length}`);
    }
    await reader.close();
    return { found, decodeMs, scanMs };
  } finally {
    rmSync(dir, { recursive: true, force: true });
  }
}

/**
 * The rows of the table; `unseen`: of clips never worked with, where there are any; `speed`: decoding over scanning.
 */
function rowsOf(
  own: CutScore,
  scene: CutScore,
  histogram: CutScore,
  unseen: CutScore | null,
  speed: number,
): BenchRow[] {
  const a = ratios(own);
  const b = ratios(scene);
  const c = ratios(histogram);
  const name = (what: string): string =>
    `cuts: ${what} (${own.cuts} cuts, ${own.gradual} gradual; reference FFmpeg's scene score ≥ 10)`;
  return [
    {
      name: name('precision'),
      ours: a.precision,
      reference: b.precision,
      bar: 0.98,
      goal: 0.99,
      unit: '',
      better: 'high',
    },
    { name: 'cuts: recall', ours: a.recall, reference: b.recall, bar: 0.92, goal: 0.97, unit: '', better: 'high' },
    { name: 'cuts: F1', ours: a.f1, reference: b.f1, bar: 0.95, goal: 0.98, unit: '', better: 'high' },
    {
      name: 'cuts: F1, reference a colour histogram that follows its neighbourhood',
      ours: a.f1,
      reference: c.f1,
      bar: 0.95,
      goal: 0.98,
      unit: '',
      better: 'high',
    },
    {
      name: 'cuts: recall of hard cuts',
      ours: a.cutRecall,
      reference: b.cutRecall,
      bar: 0.98,
      goal: 0.99,
      unit: '',
      better: 'high',
    },
    {
      name: 'cuts: recall of gradual changes',
      ours: a.gradualRecall,
      reference: b.gradualRecall,
      bar: 0.8,
      goal: 0.92,
      unit: '',
      better: 'high',
    },
    ...(unseen !== null
      ? [
          {
            name: `cuts: F1 on clips never worked with (${unseen.cuts} cuts, ${unseen.gradual} gradual)`,
            ours: ratios(unseen).f1,
            bar: 0.95,
            goal: 0.98,
            unit: '',
            better: 'high' as const,
          },
        ]
      : []),
    {
      name: 'cuts: bare decode over scan, processor time (best of three, in turn)',
      ours: speed,
      bar: 0.8,
      goal: 0.95,
      unit: 'ratio',
      better: 'high',
    },
  ];
}

/**
 * The table for one seed (three with `full`), beside FFmpeg's scene score by its formula; speed from an encoded reel.
 */
export async function run(seed: number, full = false): Promise<BenchRow[]> {
  const sources = await loadSources(join(import.meta.dirname, '..', '..', 'shared', 'footage'));
  const own = emptyScore();
  const scene = emptyScore();
  const histogram = emptyScore();
  let decode = 0;
  let scan = 0;
  // Two reels at least: one has some sixty changes, so that a single one weighs a hundredth and a half.
  for (const s of full ? [seed, seed + 1, seed + 2] : [seed, seed + 1]) {
    const reel = makeReel(sources, { seed: s, width: W, height: H, transitions: 60, hardKinds: false });
    scoreCuts(reel.transitions, ours(reel), own);
    scoreCuts(
      reel.transitions,
      [...sceneScores(reel)].flatMap((v, t) => (v >= 10 ? [{ at: t }] : [])),
      scene,
    );
    scoreCuts(reel.transitions, histogramCuts(reel), histogram);
    if (s !== seed) continue;
    // A third of a reel tells the speed as well as the whole.
    const e = await encoded({ ...reel, frames: reel.frames.slice(0, 900) });
    decode += e.decodeMs;
    scan += e.scanMs;
  }
  const others = await loadOtherSources(join(import.meta.dirname, '..', '..', 'shared'));
  const unseen = others.length > 1 ? emptyScore() : null;
  if (unseen !== null)
    for (const s of [seed, seed + 1]) {
      const reel = makeReel(others, { seed: s, width: W, height: H, transitions: 60, hardKinds: false });
      scoreCuts(reel.transitions, ours(reel), unseen);
    }
  return rowsOf(own, scene, histogram, unseen, decode / scan);
}

async function main(): Promise<void> {
  const arg = (name: string, otherwise: string): string => {
    const i = process.argv.indexOf(`--${name}`);
    return i >= 0 ? (process.argv[i + 1] ?? otherwise) : otherwise;
  };
  const seeds = arg('seeds', '1,2,3').split(',').map(Number);
  const sources = process.argv.includes('--other')
    ? await loadOtherSources(join(import.meta.dirname, '..', '..', 'shared'))
    : await loadSources(arg('footage', join(import.meta.dirname, '..', '..', 'shared', 'footage')));
  const scores = {
    ours: emptyScore(),
    scdet: emptyScore(),
    scene: emptyScore(),
    histogram: emptyScore(),
    encoded: emptyScore(),
  };
  let frames = 0;
  let decode = 0;
  let scan = 0;
  for (const seed of seeds) {
    const reel = makeReel(sources, {
      seed,
      width: W,
      height: H,
      transitions: Number(arg('transitions', '60')),
      hardKinds: process.argv.includes('--hard'),
    });
    frames += reel.frames.length;
    scoreCuts(reel.transitions, ours(reel), scores.ours);
    const s = sceneScores(reel);
    const over = (limit: number): Found[] => [...s].flatMap((v, t) => (v >= limit ? [{ at: t }] : []));
    scoreCuts(reel.transitions, over(10), scores.scdet);
    scoreCuts(reel.transitions, over(30), scores.scene);
    scoreCuts(reel.transitions, histogramCuts(reel), scores.histogram);
    if (process.argv.includes('--encoded')) {
      const e = await encoded(reel);
      scoreCuts(reel.transitions, e.found, scores.encoded);
      decode += e.decodeMs;
      scan += e.scanMs;
    }
  }
  console.log(
    `${frames} frames, ${scores.ours.cuts} cuts, ${scores.ours.gradual} gradual; seeds ${seeds.join(', ')}; ` +
      `${sources.length} sources`,
  );
  console.log(line('Platewright', scores.ours));
  if (process.argv.includes('--encoded')) {
    console.log(line('Platewright, H.264 360p', scores.encoded));
    console.log(`scan at ${(decode / scan).toFixed(2)} of bare decode (best of three, in turn)`);
  }
  console.log(line('scene score ≥ 10 (default)', scores.scdet));
  console.log(line('scene score > 0.3', scores.scene));
  console.log(line('colour histogram', scores.histogram));
  if (scores.ours.misses.length + scores.ours.extras.length > 0)
    console.log(`missed: ${scores.ours.misses.join(' ')}; extra at: ${scores.ours.extras.join(' ')}`);
}

if (process.argv[1]?.endsWith('cuts.ts') || process.argv[1]?.endsWith('cuts.js')) await main();
