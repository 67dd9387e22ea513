/**
 * Takes without a screen and without an empty set, from a rough line on one frame to mattes: the outline found there
 * and carried, its edge settled. Subjects with known matte over real hand-held clips (`outline-takes.ts`; needs
 * ../shared, and says so). `npx tsx bench/peel-outline.ts [seed] [words of the case] [--hand] [--pictures FOLDER]`;
 * --hand: true outlines on two frames in place of the rough line.
 */
import { existsSync, mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { createPicture, type Picture } from '../src/image/picture.js';
import { distanceToSet } from '../src/image/distance.js';
import { rasterizePolygon } from '../src/image/polygon.js';
import { resize } from '../src/image/resize.js';
import { outlinesOfMarks } from '../src/join/outline/marked-take.js';
import { outlinePolygon } from '../src/join/outline/outline-polygon.js';
import { hintsOn } from '../src/join/outline/outline-hints.js';
import { findOutline } from '../src/join/outline/outline-take.js';
import { labelAreas } from '../src/join/peel/label-areas.js';
import { outlinePeeler } from '../src/join/peel/performer.js';
import { outlineRegion } from '../src/join/peel/screen-part.js';
import { copyFrame } from '../src/media/planes.js';
import { writePng16 } from '../src/media/stills.js';
import { VideoReader } from '../src/media/video-reader.js';
import type { Mark, MarksFile } from '../src/plate/marks/marks.js';
import { compositeError, dtSsd, scoreMatte, softBand } from './matte-score.js';
import { CASES, hasShared, outlineTake, type OutlineTruth } from './outline-takes.js';
import { wholePerformer } from './peel-hard.js';
import { toCodedRgb } from '../src/media/convert.js';

const W = 960;
const H = 540;
const COUNT = 12;
const AT = 5;
const TRIED = [2, 9];
const words = process.argv.slice(2);
const hand = words.includes('--hand');
const p = words.indexOf('--pictures');
const pictures = p < 0 ? undefined : words.splice(p, 2)[1];
const rest = words.filter((w) => w !== '--hand');
const seed = Number(rest[0] ?? 1);
const keep = process.env['OUTLINE_TAKES'];

function boxAround(t: OutlineTruth): [number, number][] {
  let x0 = W;
  let y0 = H;
  let x1 = 0;
  let y1 = 0;
  for (let i = 0; i < W * H; i++)
    if (t.alpha[i]! > 0.3) {
      const x = i % W;
      const y = Math.floor(i / W);
      x0 = Math.min(x0, x);
      x1 = Math.max(x1, x);
      y0 = Math.min(y0, y);
      y1 = Math.max(y1, y);
    }
  const e = 0.06 * Math.max(x1 - x0, y1 - y0);
  return [
    [x0 - e, y0 - e],
    [x1 + e, y0 - e],
    [x1 + e, y1 + e],
    [x0 - e, y1 + e],
  ];
}

/** As a careful hand draws it: within two pixels of the half-covered line. */
const drawn = (t: OutlineTruth): [number, number][] =>
  outlinePolygon(
    Uint8Array.from(t.alpha, (a) => (a > 0.5 ? 1 : 0)),
    W,
    H,
    1,
    2,
  );

/**
 * Touches as a person makes them who looks at the outline: in the middle of the largest
 * parts that are wrong, four at most.
 */
function touches(found: readonly (readonly [number, number])[], t: OutlineTruth): Mark[] {
  const mask = rasterizePolygon(found, W, H);
  const wrong = Uint8Array.from(mask, (v, i) => (v > 0.5 !== t.alpha[i]! > 0.5 ? 1 : 0));
  const right = Uint8Array.from(wrong, (v) => 1 - v);
  const deep = distanceToSet(right, W, H);
  const { labels, area } = labelAreas(wrong, W, H);
  const best = new Map<number, number>();
  for (let i = 0; i < W * H; i++) {
    const l = labels[i]!;
    if (l > 0 && (best.get(l) === undefined || deep[i]! > deep[best.get(l)!]!)) best.set(l, i);
  }
  return [...best]
    .filter(([, i]) => deep[i]! >= 9)
    .sort((a, b) => area[b[0]]! - area[a[0]]!)
    .slice(0, 4)
    .map(([, i]) => ({
      kind: 'touch',
      frame: AT,
      points: [[(i % W) + 0.5, Math.floor(i / W) + 0.5]],
      on: t.alpha[i]! > 0.5 ? 'performer' : 'set',
    }));
}

/** Intersection over union of what two mattes cover more than half. */
function overlapOf(a: Float32Array, b: Float32Array): number {
  let both = 0;
  let any = 0;
  for (let i = 0; i < W * H; i++) {
    const p = a[i]! > 0.5;
    const q = b[i]! > 0.5;
    if (p && q) both++;
    if (p || q) any++;
  }
  return both / any;
}

const overlap = (polygon: readonly (readonly [number, number])[], t: OutlineTruth): number =>
  overlapOf(rasterizePolygon(polygon, W, H), t.alpha);

/** A peeled performer over the whole frame. */
type Whole = ReturnType<typeof wholePerformer>;
type OutlineCase = (typeof CASES)[number];

/** Sums over frames; `n` frames. */
interface Sums {
  mse: number;
  grad: number;
  sad: number;
  dt: number;
  comp: number;
  iou: number;
  n: number;
}

const fileOf = (kind: OutlineCase): string => kind.name.replace(/[^a-z]+/g, '-');

/** A rough line, and up to twice the touches of somebody who looks at what was found; what was found, in words. */
async function markedByLooking(reader: VideoReader, t: OutlineTruth): Promise<{ marks: MarksFile; said: string[] }> {
  let marks: MarksFile = { frame: 0, marks: [{ kind: 'about', frame: AT, polygon: boxAround(t) }] };
  const said: string[] = [];
  for (let turn = 0; turn < 3; turn++) {
    const found = await findOutline(reader, AT, hintsOn(marks, AT));
    if (found.polygon === null) {
      said.push(found.why);
      break;
    }
    said.push(overlap(found.polygon, t).toFixed(3));
    const more = turn === 2 ? [] : touches(found.polygon, t);
    if (more.length === 0) break;
    marks = { ...marks, marks: [...marks.marks, ...more] };
    said.push(`${more.length} touches`);
  }
  return { marks, said };
}

/** Left the performer on a plain blue, right the matte over its truth and the frame. */
async function writeSideBySide(path: string, now: Whole, t: OutlineTruth, frame: Picture): Promise<void> {
  const shown = createPicture(2 * W, H, 3);
  const n = W * H;
  for (let c = 0; c < 3; c++)
    for (let i = 0; i < n; i++) {
      const at = c * 2 * n + Math.floor(i / W) * 2 * W + (i % W);
      shown.data[at] = (1 - now.alpha[i]!) * [0.1, 0.3, 0.9][c]! + now.alpha[i]! * now.coded[c * n + i]!;
      shown.data[at + W] = c === 0 ? now.alpha[i]! : c === 1 ? t.alpha[i]! : 0.5 * frame.data[n + i]!;
    }
  await writePng16(path, resize(shown, W, H / 2));
}

/** One frame held against its truth, added to the sums; in words. */
function scoreFrame(now: Whole, before: Whole, t: OutlineTruth, truthBefore: OutlineTruth, all: Sums): string {
  const band = softBand(t.alpha, W, H);
  const s = scoreMatte(now.alpha, t.alpha, band, W, H);
  const dt = dtSsd(now.alpha, before.alpha, t.alpha, truthBefore.alpha, band);
  const comp = compositeError(now.alpha, now.coded, t.alpha, t.colour, band, [0.5, 0.1, 0.8]);
  const iou = overlapOf(now.alpha, t.alpha);
  all.mse += s.mse;
  all.grad += s.grad;
  all.sad += s.sad;
  all.dt += dt;
  all.comp += comp;
  all.iou += iou;
  all.n++;
  return (
    `MSE ${s.mse.toFixed(1)} SAD ${s.sad.toFixed(2)} grad ${s.grad.toFixed(2)} ` +
    `holes ${s.holes.toFixed(2)} ghosts ${s.ghosts.toFixed(2)} dtSSD ${dt.toFixed(2)} ` +
    `comp ${comp.toFixed(1)} IoU ${iou.toFixed(3)}`
  );
}

/** Outlines carried over one take, then some of its frames peeled and scored. */
async function peelCase(
  kind: OutlineCase,
  reader: VideoReader,
  truth: readonly OutlineTruth[],
  all: Sums,
): Promise<void> {
  const byHand = (): MarksFile => ({
    frame: 0,
    marks: [0, COUNT - 1].map((frame): Mark => ({ kind: 'body', frame, polygon: drawn(truth[frame]!) })),
  });
  const { marks, said } = hand ? { marks: byHand(), said: [] } : await markedByLooking(reader, truth[AT]!);
  if (said.length > 0) console.log(`${kind.name.padEnd(28)} on frame ${AT}: ${said.join(', ')}`);
  const from = process.cpuUsage();
  const outlined = await outlinesOfMarks(reader, marks, null);
  const used = process.cpuUsage(from);
  const peeler = outlinePeeler({
    step: 'peel',
    on: true,
    why: '',
    method: 'outline',
    screen: 'green',
    quality: 'fine',
    spill: 0,
    outline: outlineRegion(outlined!.marks)!,
  });
  const of = async (n: number): Promise<Whole> =>
    wholePerformer(await peeler.peel(copyFrame(await reader.frame(n))), W, H);
  const lines: string[] = [];
  for (const n of TRIED) {
    const before = await of(n - 1);
    const start = process.cpuUsage();
    const now = await of(n);
    const took = process.cpuUsage(start);
    const score = scoreFrame(now, before, truth[n]!, truth[n - 1]!, all);
    lines.push(`frame ${n}: ${score} ${((took.user + took.system) / 1e3).toFixed(0)} ms`);
    if (pictures !== undefined)
      await writeSideBySide(
        join(pictures, `${fileOf(kind)}-${n}.png`),
        now,
        truth[n]!,
        toCodedRgb(await reader.frame(n)),
      );
  }
  console.log(`${kind.name.padEnd(28)} outline ${((used.user + used.system) / 1e6 / COUNT).toFixed(2)} s a frame`);
  for (const l of lines) console.log(`  ${l}`);
}

async function main(): Promise<void> {
  if (!hasShared()) {
    console.log('needs ../shared/keying and ../shared/footage: nothing measured');
    return;
  }
  if (pictures !== undefined) mkdirSync(pictures, { recursive: true });
  const folder = keep ?? mkdtempSync(join(tmpdir(), 'platewright-bench-'));
  const all: Sums = { mse: 0, grad: 0, sad: 0, dt: 0, comp: 0, iou: 0, n: 0 };
  try {
    for (const kind of CASES.filter((c) => rest[1] === undefined || c.name.includes(rest[1]))) {
      const path = join(folder, `${fileOf(kind)}-${seed}.mp4`);
      const truth = await outlineTake(path, seed, kind, W, H, COUNT, 0.005, existsSync(path));
      const reader = await VideoReader.open(path);
      try {
        await peelCase(kind, reader, truth, all);
      } catch (error) {
        console.log(`${kind.name.padEnd(28)} ${(error as Error).message}`);
      } finally {
        await reader.close();
      }
    }
    console.log(
      `mean of ${all.n}: MSE ${(all.mse / all.n).toFixed(1)} SAD ${(all.sad / all.n).toFixed(2)} ` +
        `grad ${(all.grad / all.n).toFixed(2)} dtSSD ${(all.dt / all.n).toFixed(2)} ` +
        `comp ${(all.comp / all.n).toFixed(1)} IoU ${(all.iou / all.n).toFixed(3)}`,
    );
  } finally {
    if (keep === undefined) rmSync(folder, { recursive: true, force: true });
  }
}
await main();
