/**
 * Scores clean frames against their truth: PSNR of display-coded R'G'B' over the pixels replaced, apart for what some
 * frame shows and what none does, the worst frame, and steadiness: rms change of the error between neighbouring frames
 * along the set's motion; beside it what the film's own grain allows: a fill without any grain that is right everywhere
 * still differs from its truth by that (`measureLook` reads it low under compression, so the bound is a generous one).
 * Understands `--json`, `--every=N` (every Nth frame; no steadiness then) and `--pictures=DIR` (frame, clean frame,
 * truth and eight times the difference about the hole, side by side).
 */
import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { apply, IDENTITY3, type Mat3 } from '../src/geometry/mat3.js';
import type { Picture } from '../src/image/picture.js';
import { sampleBilinear } from '../src/image/sampling.js';
import { createPicture, plane } from '../src/image/picture.js';
import { layBox } from '../src/join/erase/erase-file.js';
import { PlateCleaner, type CleanedBox } from '../src/join/erase/erase.js';
import { grower } from '../src/join/air/grain.js';
import { toCodedRgb } from '../src/media/convert.js';
import { writePng16 } from '../src/media/stills.js';
import { VideoReader } from '../src/media/video-reader.js';
import { measureLook } from '../src/plate/look/look.js';
import type { RegionFile } from '../src/plate/marks/marks.js';

const args = process.argv.slice(2);
const value = (name: string): string | undefined =>
  args.find((a) => a.startsWith(`--${name}=`))?.slice(name.length + 3);
const pictures = value('pictures');
if (pictures !== undefined) mkdirSync(pictures, { recursive: true });

interface Score {
  seen: number;
  seenN: number;
  unseen: number;
  unseenN: number;
  worst: number;
  worstFrame: number;
  flicker: number;
  flickerN: number;
  grain: number;
  each: number[];
}

/** What a score begins as. */
const nothing = (): Score => ({
  seen: 0,
  seenN: 0,
  unseen: 0,
  unseenN: 0,
  worst: Infinity,
  worstFrame: -1,
  flicker: 0,
  flickerN: 0,
  grain: 0,
  each: [],
});

/** Luma's error of a clean frame and where it was replaced, over the whole frame. */
interface FrameError {
  readonly n: number;
  readonly error: Float32Array;
  readonly cover: Float32Array;
}

type GrainCurves = NonNullable<ReturnType<typeof grower>>['curves'];

/** Adds a frame's replaced pixels to the score: what other frames show, what was made up, the worst frame. */
function addFrame(
  s: Score,
  n: number,
  clean: Picture,
  truth: Picture,
  box: CleanedBox | null,
  curves: GrainCurves | undefined,
): FrameError {
  const { width: w, height: h } = truth;
  const N = w * h;
  const error = new Float32Array(N);
  const cover = new Float32Array(N);
  let sum = 0;
  let count = 0;
  const [x0, y0, x1, y1] = box?.box ?? [0, 0, 0, 0];
  for (let y = y0; y < y1; y++)
    for (let x = x0; x < x1; x++) {
      const b = (y - y0) * (x1 - x0) + x - x0;
      const i = y * w + x;
      if (box!.cover[b]! < 0.99) continue;
      let e = 0;
      for (let c = 0; c < 3; c++) e += (clean.data[c * N + i]! - truth.data[c * N + i]!) ** 2 / 3;
      if (box!.madeUp[b]! > 0.5) {
        s.unseen += e;
        s.unseenN++;
      } else {
        s.seen += e;
        s.seenN++;
        if (curves !== undefined)
          for (let c = 0; c < 3; c++)
            s.grain += curves[c]![Math.min(63, Math.max(0, Math.round(63 * truth.data[c * N + i]!)))]! ** 2 / 3;
      }
      sum += e;
      count++;
      cover[i] = 1;
      error[i] =
        0.2126 * (clean.data[i]! - truth.data[i]!) +
        0.7152 * (clean.data[N + i]! - truth.data[N + i]!) +
        0.0722 * (clean.data[2 * N + i]! - truth.data[2 * N + i]!);
    }
  const p = count > 200 ? -10 * Math.log10(sum / count) : NaN;
  s.each.push(Math.round(10 * p) / 10);
  if (p < s.worst) {
    s.worst = p;
    s.worstFrame = n;
  }
  return { n, error, cover };
}

/**
 * Adds how the error changes from the frame before, along the set's true motion `m`: a still fill is seen to be still.
 */
function addFlicker(s: Score, before: FrameError, now: FrameError, m: Mat3, w: number, h: number): void {
  for (let i = 0; i < w * h; i++) {
    if (now.cover[i]! === 0) continue;
    const [x, y] = apply(m, (i % w) + 0.5, Math.floor(i / w) + 0.5);
    if (!(x > 1 && y > 1 && x < w - 1 && y < h - 1) || before.cover[Math.floor(y) * w + Math.floor(x)]! === 0) continue;
    s.flicker += (now.error[i]! - sampleBilinear(before.error, w, h, x, y)) ** 2;
    s.flickerN++;
  }
}

const db = (e: number, n: number): number | null =>
  n === 0 || e === 0 ? null : Math.round(-100 * Math.log10(e / n)) / 10;

/** What a score comes to. */
function rowOf(name: string, s: Score, report: PlateCleaner['report'], gathered: number, perFrame: number) {
  return {
    shot: name,
    psnrSeen: db(s.seen, s.seenN),
    psnrUnseen: db(s.unseen, s.unseenN),
    unseenShare: s.unseenN / Math.max(1, s.seenN + s.unseenN),
    grainAllows: db(s.grain, s.seenN),
    worst: Math.round(10 * s.worst) / 10,
    worstFrame: s.worstFrame,
    each: s.each,
    flickerRms: s.flickerN === 0 ? null : Math.sqrt(s.flicker / s.flickerN),
    sources: report.sources.length,
    move: report.move,
    gathered,
    perFrame,
  };
}

const inWords = (row: ReturnType<typeof rowOf>): string =>
  `${row.shot}: seen ${row.psnrSeen} dB (34 bar, 38 goal; the film's grain alone ${row.grainAllows}), ` +
  `never seen ${row.psnrUnseen} dB (24) on ${(100 * row.unseenShare).toFixed(1)} %, ` +
  `worst frame ${row.worstFrame} ${row.worst} dB, ` +
  (row.flickerRms === null ? '' : `error changes by ${(255 * row.flickerRms).toFixed(2)}/255 a frame; `) +
  `${row.sources} sources, ${row.move}, gathered in ${row.gathered.toFixed(0)} s, ` +
  `${row.perFrame.toFixed(1)} s a frame`;

/**
 * Scores the clean frames of a file as they come. @param exposed the truth is brought to each frame's light first;
 * `toBefore`: pixels of a frame → those of the one before, the set's true motion
 */
export async function measureOne(
  name: string,
  file: string,
  region: RegionFile,
  truthAt: (n: number) => Promise<Picture>,
  exposed = false,
  toBefore: (n: number) => Mat3 = () => IDENTITY3,
): Promise<{ seen: number | null; unseen: number | null }> {
  const s = nothing();
  const every = Math.max(1, Number(value('every') ?? 1));
  let before: FrameError | null = null;
  let frames = 0;
  const reader = await VideoReader.open(file);
  const t0 = performance.now();
  const cleaner = await PlateCleaner.build(reader, { regions: [region] });
  const gathered = (performance.now() - t0) / 1000;
  const look = await measureLook(reader);
  const t1 = performance.now();
  const { table, autocorrelation, channelCorrelation } = look.grain;
  const curves = grower({ table, autocorrelation, channelCorrelation }, 1)?.curves;
  for (let n = 0; n < reader.info.frameCount; n += every) {
    const read = toCodedRgb(await reader.frame(n));
    const plate = { ...read, data: read.data.slice() };
    const clean = { ...plate, data: plate.data.slice() };
    const box = cleaner.clean(n, plate);
    if (box !== null) layBox(clean, box);
    frames++;
    const shown = await truthAt(n);
    const truth = exposed ? likePlate(shown, clean, box) : { ...shown, data: shown.data.slice() };
    const now = addFrame(s, n, clean, truth, box, curves);
    if (box !== null && pictures !== undefined)
      await writePng16(
        join(pictures, `${name}_${String(n).padStart(4, '0')}.png`),
        sideBySide([plate, clean, truth], box),
      );
    if (before !== null && before.n === n - 1) addFlicker(s, before, now, toBefore(n), truth.width, truth.height);
    before = now;
  }
  const cleaned = (performance.now() - t1) / 1000;
  await reader.close();
  const row = rowOf(name, s, cleaner.report, gathered, cleaned / frames);
  console.log(args.includes('--json') ? JSON.stringify(row) : inWords(row));
  return { seen: row.psnrSeen, unseen: row.psnrUnseen };
}

/** Crops about the box, one beside the other, then eight times the difference of the last two over mid grey. */
function sideBySide(of: readonly Picture[], { box: [x0, y0, x1, y1] }: CleanedBox): Picture {
  const bw = x1 - x0;
  const bh = y1 - y0;
  const out = createPicture(bw * (of.length + 1), bh, 3);
  for (let c = 0; c < 3; c++)
    for (let k = 0; k <= of.length; k++) {
      const from = plane(of[Math.min(k, of.length - 1)]!, c);
      const less = plane(of[of.length - 2]!, c);
      const to = plane(out, c);
      for (let y = 0; y < bh; y++)
        for (let x = 0; x < bw; x++) {
          const i = (y + y0) * of[0]!.width + x + x0;
          to[y * out.width + k * bw + x] = Math.min(
            1,
            Math.max(0, k < of.length ? from[i]! : 0.5 + 8 * (less[i]! - from[i]!)),
          );
        }
    }
  return out;
}

/**
 * The truth in the light of the frame: the camera exposes by itself, so gain and offset a channel are fitted over what
 * was not replaced.
 */
export function likePlate(truth: Picture, clean: Picture, box: CleanedBox | null): Picture {
  const N = truth.width * truth.height;
  const out = { ...truth, data: truth.data.slice() };
  const outside = new Uint8Array(N).fill(1);
  if (box !== null) {
    const [x0, y0, x1, y1] = box.box;
    for (let y = y0; y < y1; y++)
      for (let x = x0; x < x1; x++) if (box.cover[(y - y0) * (x1 - x0) + x - x0]! > 0) outside[y * truth.width + x] = 0;
  }
  for (let c = 0; c < 3; c++) {
    let n = 0;
    let sx = 0;
    let sy = 0;
    let sxx = 0;
    let sxy = 0;
    for (let i = 0; i < N; i++) {
      if (outside[i] === 0) continue;
      const x = truth.data[c * N + i]!;
      const y = clean.data[c * N + i]!;
      if (x > 0.97 || y > 0.97) continue;
      n++;
      sx += x;
      sy += y;
      sxx += x * x;
      sxy += x * y;
    }
    if (n < 2000) continue;
    const g = (n * sxy - sx * sy) / (n * sxx - sx * sx);
    const o = (sy - g * sx) / n;
    for (let i = 0; i < N; i++) out.data[c * N + i] = Math.min(1, g * truth.data[c * N + i]! + o);
  }
  return out;
}
