/**
 * What an erase leaves of a person's shadow, on scenes traced from seeds with their truth (left-shadow-scenes.ts). A
 * rough outline of the person alone is told. Each figure is a mean over frames, in shares of the true shadow's area:
 * where plate and clean truth, both without grain, differ by more than 3 CIEDE2000 off the person, after a Gaussian of
 * 3 px on both. *left*: what of it still differs by more than 3 and is darker; *flicker*: area left on one frame that
 * nothing left on the next meets within the ground's shift, and the other way round; *harmed*: area off person and
 * shadow that the erase has made differ by more than 3; *touched*: area there that it replaced at all; *under*: what of
 * the person's own area differs by more than 3, in shares of that. Run: `npx tsx bench/left-shadow.ts FOLDER SEEDS
 * [--every=N] [--pictures=DIR]`; without `--every=1` no flicker is told.
 */
import { mkdirSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { ciede2000 } from '../src/colour/ciede2000.js';
import { linearToLab } from '../src/colour/lab.js';
import { gaussianPlane } from '../src/image/gaussian.js';
import { dilate } from '../src/image/morphology.js';
import { createPicture, plane, type Picture } from '../src/image/picture.js';
import type { CleanedBox } from '../src/join/erase/erase.js';
import { layBox } from '../src/join/erase/erase-file.js';
import { PlateCleaner } from '../src/join/erase/erase.js';
import { codedToLinear, toCodedRgb } from '../src/media/convert.js';
import { writePng16 } from '../src/media/stills.js';
import { VideoReader } from '../src/media/video-reader.js';
import { canTrace, seedsOf } from './exam-scenes.js';
import { makeLeft, rawOf } from './left-shadow-scenes.js';

/** The Gaussian of both pictures, and the difference (CIEDE2000) that counts as seen. */
const SIGMA_PX = 3;
const SEEN = 3;

/** Shares as the head tells; `worst`: the largest *left* of a frame. */
export interface LeftScore {
  readonly left: number;
  readonly flicker: number | null;
  readonly harmed: number;
  readonly touched: number;
  readonly under: number;
  readonly worst: number;
  readonly worstFrame: number;
  /** Processor seconds of gathering the set, and of a frame. */
  readonly gathered: number;
  readonly perFrame: number;
}

function pictureOf(raw: Uint8Array, w: number, h: number): Picture {
  const out = createPicture(w, h, 3);
  const n = w * h;
  for (let i = 0; i < n; i++) for (let c = 0; c < 3; c++) out.data[c * n + i] = raw[3 * i + c]! / 255;
  return out;
}

/** L*, a*, b* of the picture after the Gaussian. */
function labOf(p: Picture): Float32Array {
  const soft = createPicture(p.width, p.height, 3);
  const n = p.width * p.height;
  const out = new Float32Array(3 * n);
  for (let c = 0; c < 3; c++) gaussianPlane(plane(p, c), p.width, p.height, SIGMA_PX, SIGMA_PX, plane(soft, c));
  const { data } = codedToLinear(soft, 'bt709');
  for (let i = 0; i < n; i++) out.set(linearToLab(data[i]!, data[n + i]!, data[2 * n + i]!), 3 * i);
  return out;
}

function differs(a: Float32Array, b: Float32Array): Float32Array {
  const out = new Float32Array(a.length / 3);
  for (let i = 0; i < out.length; i++)
    if (ciede2000(a[3 * i]!, a[3 * i + 1]!, a[3 * i + 2]!, b[3 * i]!, b[3 * i + 1]!, b[3 * i + 2]!) > SEEN) out[i] = 1;
  return out;
}

/** One frame's areas in pixels (see the head); `left` is a plane of what is left, 1 or 0. */
interface FrameAreas {
  readonly shadow: number;
  readonly stillDark: number;
  readonly harmed: number;
  readonly touched: number;
  readonly person: number;
  readonly under: number;
  readonly left: Float32Array;
}

/** What the erase covers, 0 to 1, laid into the whole picture. */
function coverOf(box: CleanedBox | null, w: number, h: number): Float32Array {
  const cover = new Float32Array(w * h);
  if (box === null) return cover;
  const [x0, y0, x1, y1] = box.box;
  for (let y = y0; y < y1; y++)
    for (let x = x0; x < x1; x++) cover[y * w + x] = box.cover[(y - y0) * (x1 - x0) + x - x0]!;
  return cover;
}

/** @param raws folder of the scene's traced frames */
function areasOf(raws: string, f: number, plate: Picture, clean: Picture, box: CleanedBox | null): FrameAreas {
  const { width: w, height: h } = plate;
  const n = w * h;
  const truth = labOf(pictureOf(rawOf(raws, f, 'clean'), w, h));
  const shadow = differs(labOf(pictureOf(rawOf(raws, f, 'with'), w, h)), truth);
  const cleaned = labOf(clean);
  const still = differs(cleaned, truth);
  const was = differs(labOf(plate), truth);
  const matte = Float32Array.from(rawOf(raws, f, 'matte'));
  const person = dilate(matte, w, h, 6);
  const near = dilate(shadow, w, h, 4);
  const cover = coverOf(box, w, h);
  const a = { shadow: 0, stillDark: 0, harmed: 0, touched: 0, person: 0, under: 0, left: new Float32Array(n) };
  for (let i = 0; i < n; i++) {
    if (matte[i]! > 0) {
      a.person++;
      a.under += still[i]!;
    }
    if (person[i]! > 0) continue;
    if (shadow[i]! > 0) {
      a.shadow++;
      if (still[i]! > 0 && cleaned[3 * i]! < truth[3 * i]!) {
        a.stillDark++;
        a.left[i] = 1;
      }
    } else if (near[i]! === 0) {
      if (still[i]! > 0 && was[i] === 0) a.harmed++;
      if (cover[i]! > 0.5) a.touched++;
    }
  }
  return a;
}

/** Area left on one of two neighbouring frames that nothing left on the other meets within `reach` pixels. */
function flickerArea(before: Float32Array, now: Float32Array, w: number, h: number, reach: number): number {
  const a = dilate(before, w, h, reach);
  const b = dilate(now, w, h, reach);
  let flicker = 0;
  for (let i = 0; i < now.length; i++) {
    if (now[i]! > 0 && a[i] === 0) flicker++;
    if (before[i]! > 0 && b[i] === 0) flicker++;
  }
  return flicker;
}

async function scoreLeft(
  folder: string,
  seed: number,
  every: number,
  pictures?: string,
): Promise<{ readonly words: string; readonly score: LeftScore }> {
  const s = await makeLeft(folder, seed);
  const raws = join(folder, `left-${seed}`);
  const { widthPx: w, heightPx: h } = s;
  const reader = await VideoReader.open(s.plate);
  const t0 = process.cpuUsage().user;
  const cleaner = await PlateCleaner.build(reader, { regions: [{ frames: s.region }] });
  const t1 = process.cpuUsage().user;
  const sum = { shadow: 0, stillDark: 0, harmed: 0, touched: 0, person: 0, under: 0, flicker: 0 };
  let pairs = 0;
  let worst = 0;
  let worstFrame = -1;
  let cpu = 0;
  let frames = 0;
  let before: Float32Array | null = null;
  const reach = Math.ceil(s.shiftPx) + 3;
  for (let f = 0; f < s.frames; f += every) {
    const read = toCodedRgb(await reader.frame(f));
    const plate: Picture = { ...read, data: read.data.slice() };
    const clean: Picture = { ...plate, data: plate.data.slice() };
    const c0 = process.cpuUsage().user;
    const box = cleaner.clean(f, plate);
    cpu += process.cpuUsage().user - c0;
    frames++;
    if (box !== null) layBox(clean, box);
    const a = areasOf(raws, f, plate, clean, box);
    for (const k of ['shadow', 'stillDark', 'harmed', 'touched', 'person', 'under'] as const) sum[k] += a[k];
    if (a.shadow > 0 && a.stillDark / a.shadow > worst) {
      worst = a.stillDark / a.shadow;
      worstFrame = f;
    }
    if (before !== null) {
      sum.flicker += flickerArea(before, a.left, w, h, reach);
      pairs++;
    }
    before = every === 1 ? a.left : null;
    if (pictures !== undefined)
      writePng16(
        join(pictures, `left-${seed}-${f}.png`),
        beside(plate, clean, pictureOf(rawOf(raws, f, 'clean'), w, h)),
      );
  }
  await reader.close();
  return {
    words: s.words,
    score: {
      left: sum.stillDark / sum.shadow,
      flicker: pairs === 0 ? null : sum.flicker / pairs / (sum.shadow / frames),
      harmed: sum.harmed / sum.shadow,
      touched: sum.touched / sum.shadow,
      under: sum.under / Math.max(1, sum.person),
      worst,
      worstFrame,
      gathered: (t1 - t0) / 1e6,
      perFrame: cpu / frames / 1e6,
    },
  };
}

function beside(...of: Picture[]): Picture {
  const { width: w, height: h } = of[0]!;
  const out = createPicture(w * of.length, h, 3);
  for (let c = 0; c < 3; c++)
    of.forEach((p, k) => {
      for (let y = 0; y < h; y++) plane(out, c).set(plane(p, c).subarray(y * w, (y + 1) * w), y * out.width + k * w);
    });
  return out;
}

if (process.argv[1] !== undefined && resolve(process.argv[1]) === fileURLToPath(import.meta.url)) {
  const [folder, seeds] = process.argv.slice(2);
  const option = (name: string): string | undefined =>
    process.argv.find((a) => a.startsWith(`--${name}=`))?.slice(name.length + 3);
  if (folder === undefined || seeds === undefined)
    console.log('usage: npx tsx bench/left-shadow.ts FOLDER SEEDS [--every=N] [--pictures=DIR]');
  else if (canTrace()) {
    const pictures = option('pictures');
    const all: LeftScore[] = [];
    const pc = (x: number | null): string => (x === null ? '-' : (100 * x).toFixed(1).padStart(5));
    if (pictures !== undefined) mkdirSync(pictures, { recursive: true });
    console.log(
      '% of the shadow: left (worst), flicker, harmed, touched; % of the person: under; s of processor time: ' +
        'gathered, a frame',
    );
    for (const seed of seedsOf(seeds)) {
      const { words, score: r } = await scoreLeft(resolve(folder), seed, Number(option('every') ?? 1), pictures);
      all.push(r);
      console.log(
        `${String(seed).padStart(3)}: ` +
          `${pc(r.left)} (${pc(r.worst)} on ${r.worstFrame}) ${pc(r.flicker)} ${pc(r.harmed)} ${pc(r.touched)}; ` +
          `${pc(r.under)}; ${r.gathered.toFixed(1)} ${r.perFrame.toFixed(2)}  ${words}`,
      );
    }
    const mean = (of: (r: LeftScore) => number | null): number | null => {
      const v = all.map(of);
      return v.some((x) => x === null) ? null : (v as number[]).reduce((a, b) => a + b, 0) / v.length;
    };
    console.log(
      `mean ${pc(mean((r) => r.left))} (${pc(mean((r) => r.worst))}) ${pc(mean((r) => r.flicker))} ` +
        `${pc(mean((r) => r.harmed))} ${pc(mean((r) => r.touched))}; ${pc(mean((r) => r.under))}; ` +
        `${mean((r) => r.gathered)!.toFixed(2)} ${mean((r) => r.perFrame)!.toFixed(3)}`,
    );
  }
}
