/**
 * Scores clean frames against their truth: PSNR of display-coded R'G'B' over the pixels replaced, apart for what some frame
 * shows and what none does, the worst frame, and steadiness: rms change of the error between neighbouring frames along the
 * set's motion. Understands `--grain`, `--json` and `--out=DIR` (four clean frames and their truths).
 */
import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { apply, IDENTITY3, type Mat3 } from '../src/geometry/mat3.js';
import type { Picture } from '../src/image/picture.js';
import { sampleBilinear } from '../src/image/sampling.js';
import { eraseFile } from '../src/join/erase-file.js';
import type { CleanedBox } from '../src/join/erase.js';
import { writePng16 } from '../src/media/stills.js';
import type { RegionFile } from '../src/plate/marks.js';

const args = process.argv.slice(2);
const outDir = args.find((a) => a.startsWith('--out='))?.slice(6);
if (outDir !== undefined) mkdirSync(outDir, { recursive: true });

interface Score { seen: number; seenN: number; unseen: number; unseenN: number; worst: number; worstFrame: number; flicker: number; flickerN: number }

/** Compares clean frames with the truth as they come. */
export async function measureOne(name: string, file: string, region: RegionFile, truthAt: (n: number) => Promise<Picture>, exposed = false, toBefore: (n: number) => Mat3 = () => IDENTITY3): Promise<{ seen: number | null; unseen: number | null }> {
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
export function likePlate(truth: Picture, clean: Picture, box: CleanedBox | null): Picture {
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
