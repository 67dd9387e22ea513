/**
 * What passes before the performer, outlined once, carried over the shot: its matte against the traced truth of
 * bench/front-scenes.ts. Rows: intersection over union and mean distance of its edge in px (worst frame beside), as
 * carried with the set and as followed. Run: `npx tsx bench/front.ts FOLDER [ids] [--pictures=DIR] [--frames]`.
 */
import { existsSync, mkdirSync, readdirSync, readFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { distanceToSet } from '../src/image/distance.js';
import { clonePicture, createPicture, type Picture } from '../src/image/picture.js';
import { cameraCarrier, STILL } from '../src/join/ride/carrier.js';
import { frontCover, frontOutlines } from '../src/join/front/front.js';
import { thingsOf } from '../src/join/mark-regions.js';
import { marksOf } from '../src/join/proposal-input.js';
import { proposeFront } from '../src/join/front/propose-front.js';
import { measurePlateSide } from '../src/join/sides.js';
import type { FrontStep } from '../src/join/types.js';
import { toCodedRgb } from '../src/media/convert.js';
import { readPng, writePng16 } from '../src/media/stills.js';
import { VideoReader } from '../src/media/video-reader.js';
import type { MarksFile } from '../src/plate/marks/marks.js';

export interface Score {
  readonly iou: number;
  readonly edge: number;
}

/** Overlap of two covers, and the mean of the way from either's half-way line to the other's, px. */
function scoreCover(ours: Float32Array, truth: Float32Array, w: number, h: number): Score | null {
  let both = 0;
  let any = 0;
  let seen = 0;
  for (let i = 0; i < w * h; i++) {
    both += Math.min(ours[i]!, truth[i]!);
    any += Math.max(ours[i]!, truth[i]!);
    if (truth[i]! > 0.5) seen++;
  }
  if (seen < 20) return null;
  const a = rim(ours, w, h);
  const b = rim(truth, w, h);
  const da = distanceToSet(a, w, h);
  const db = distanceToSet(b, w, h);
  let s = 0;
  let n = 0;
  for (let i = 0; i < w * h; i++) {
    if (a[i] === 1) {
      s += Math.min(40, db[i]!);
      n++;
    }
    if (b[i] === 1) {
      s += Math.min(40, da[i]!);
      n++;
    }
  }
  return { iou: any === 0 ? 1 : both / any, edge: n === 0 ? 0 : s / n };
}

function rim(cover: Float32Array, w: number, h: number): Uint8Array {
  const out = new Uint8Array(w * h);
  for (let y = 1; y < h - 1; y++)
    for (let x = 1; x < w - 1; x++) {
      const i = y * w + x;
      if (
        cover[i]! >= 0.5 &&
        (cover[i - 1]! < 0.5 || cover[i + 1]! < 0.5 || cover[i - w]! < 0.5 || cover[i + w]! < 0.5)
      )
        out[i] = 1;
    }
  return out;
}

function drawn(step: FrontStep, carrier: typeof STILL, n: number, w: number, h: number): Float32Array {
  return frontCover(step, frontOutlines(step, carrier), n, [0, 0, w, h]) ?? new Float32Array(w * h);
}

async function row(dir: string, id: string, pictures: string | null, each: boolean): Promise<string> {
  const reader = await VideoReader.open(join(dir, 'plate.mp4'));
  const marks = JSON.parse(readFileSync(join(dir, 'marks.json'), 'utf8')) as MarksFile;
  try {
    const began = process.cpuUsage();
    const p = await measurePlateSide(join(dir, 'plate.mp4'), reader, marks);
    const m = p.side.measures;
    const carrier = cameraCarrier(m.camera);
    const measured = process.cpuUsage(began);
    const fronts = thingsOf(marksOf(marks, 'front'));
    const before: FrontStep = {
      step: 'front',
      on: true,
      why: '',
      region: fronts[0]!,
      also: fronts.slice(1),
      softPx: 0.6,
      pane: null,
    };
    const from = process.cpuUsage();
    const now = (await proposeFront(p.side, carrier, m))!;
    const used = process.cpuUsage(from);
    const { widthPx: w, heightPx: h } = reader.info;
    const list: { n: number; was: Score; is: Score }[] = [];
    for (let n = 0; existsSync(join(dir, `truth-${n}.png`)); n++) {
      const truth = (await readPng(join(dir, `truth-${n}.png`))).data.subarray(0, w * h);
      const is = drawn(now, carrier, n, w, h);
      const a = scoreCover(drawn(before, carrier, n, w, h), truth, w, h);
      const b = scoreCover(is, truth, w, h);
      if (a !== null && b !== null) list.push({ n, was: a, is: b });
      if (pictures !== null && n % 6 === 0)
        await writePng16(join(pictures, `${id}-${n}.png`), lineOn(clonePicture(toCodedRgb(await reader.frame(n))), is));
    }
    const mean = (f: (q: (typeof list)[number]) => number): number =>
      list.reduce((s, q) => s + f(q), 0) / Math.max(1, list.length);
    const worst = (f: (q: (typeof list)[number]) => number): number => Math.max(...list.map(f));
    if (each)
      for (const q of list)
        console.log(
          `  ${q.n} was ${q.was.iou.toFixed(3)} ${q.was.edge.toFixed(2)} ` +
            `is ${q.is.iou.toFixed(3)} ${q.is.edge.toFixed(2)}`,
        );
    return (
      `${id.padEnd(20)} ${(m.camera?.move ?? '-').padEnd(9)}${(m.travel === undefined ? '' : 'way').padEnd(4)} ` +
      `was ${mean((q) => q.was.iou).toFixed(3)} ` +
      `${mean((q) => q.was.edge)
        .toFixed(2)
        .padStart(6)} ` +
      `(${worst((q) => q.was.edge)
        .toFixed(1)
        .padStart(4)})  ` +
      `is ${mean((q) => q.is.iou).toFixed(3)} ${mean((q) => q.is.edge)
        .toFixed(2)
        .padStart(6)} ` +
      `(${worst((q) => q.is.edge)
        .toFixed(1)
        .padStart(4)})  ` +
      `${((used.user + used.system) / 1e6).toFixed(1)} s ` +
      `of ${((measured.user + measured.system) / 1e6).toFixed(1)} s for the measures  soft ${now.softPx}  ` +
      `${now.why}`
    );
  } finally {
    await reader.close();
  }
}

function lineOn(p: Picture, cover: Float32Array): Picture {
  const { width: w, height: h } = p;
  const n = w * h;
  const edge = rim(cover, w, h);
  const out = createPicture(w, h, 3);
  out.data.set(p.data.subarray(0, 3 * n));
  for (let i = 0; i < n; i++)
    if (edge[i] === 1) {
      out.data[i] = 1;
      out.data[n + i] = 0.1;
      out.data[2 * n + i] = 0.1;
    }
  return out;
}

if (process.argv[1] !== undefined && resolve(process.argv[1]) === fileURLToPath(import.meta.url)) {
  const [folder, ids] = process.argv.slice(2).filter((a) => !a.startsWith('--'));
  const pictures = process.argv.find((a) => a.startsWith('--pictures='))?.slice(11) ?? null;
  if (folder === undefined) console.log('usage: npx tsx bench/front.ts FOLDER [ids] [--pictures=DIR] [--frames]');
  else {
    if (pictures !== null) mkdirSync(pictures, { recursive: true });
    for (const id of readdirSync(folder).sort())
      if (
        existsSync(join(folder, id, 'marks.json')) &&
        (ids === undefined || ids.split(',').some((s) => id.startsWith(s)))
      )
        console.log(await row(join(folder, id), id, pictures, process.argv.includes('--frames')));
  }
}
