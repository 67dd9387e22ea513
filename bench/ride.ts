/**
 * Ride against known planes: made sequences (ride-sequences.ts), 60 frames of 960 × 540, through H.264 at
 * crf 18, beside what a general library gives on the same frames in the same run. By default a plane and a
 * poster of each of the easier levels, and three hard ones (a poster, hidden whole, leaving the frame); 8 a
 * level with `full` (24 in all, as the bar counts).
 */
import { existsSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp from 'sharp';
import { createPicture } from '../src/image/picture.js';
import { lumaPlane } from '../src/media/luma.js';
import { VideoReader } from '../src/media/video-reader.js';
import { VideoWriter } from '../src/media/video-writer.js';
import type { LumaSource } from '../src/plate/ride/ride-source.js';
import { trackRegion } from '../src/plate/ride/ride.js';
import type { Point2 } from '../src/geometry/mat3.js';
import { enhancedCorrelation, lucasKanade, openVision } from './ride-references.js';
import { blobCutOut, patternTexture, type CutOut, type GreyImage } from './ride-textures.js';
import { makeRideSequence, type RideLevel, type RideSequence } from './ride-sequences.js';
import type { BenchRow } from './rows.js';

const CLIPS = join(import.meta.dirname, '..', '..', 'shared', 'footage', 'davis');

async function readGrey(path: string, width?: number, height?: number): Promise<GreyImage> {
  const picture = width === undefined ? sharp(path).greyscale() : sharp(path).greyscale().resize(width, height);
  const { data, info } = await picture.raw().toBuffer({ resolveWithObject: true });
  return {
    width: info.width,
    height: info.height,
    data: Float32Array.from({ length: info.width * info.height }, (_, i) => data[i * info.channels]! / 255),
  };
}

/** A frame of an open clip cut out by its mask, with a margin of three pixels. */
async function cutOut(name: string, frame: string): Promise<CutOut> {
  const g = await readGrey(join(CLIPS, name, 'frames', `${frame}.jpg`));
  const m = await readGrey(join(CLIPS, name, 'masks', `${frame}.png`), g.width, g.height);
  let x0 = m.width;
  let x1 = 0;
  let y0 = m.height;
  let y1 = 0;
  for (let y = 0; y < m.height; y++)
    for (let x = 0; x < m.width; x++)
      if (m.data[y * m.width + x]! > 0.5) {
        x0 = Math.min(x0, x);
        x1 = Math.max(x1, x);
        y0 = Math.min(y0, y);
        y1 = Math.max(y1, y);
      }
  const width = x1 - x0 + 7;
  const height = y1 - y0 + 7;
  const grey = new Float32Array(width * height);
  const cover = new Float32Array(width * height);
  for (let y = 0; y < height; y++)
    for (let x = 0; x < width; x++) {
      const sx = x + x0 - 3;
      const sy = y + y0 - 3;
      if (sx < 0 || sy < 0 || sx >= m.width || sy >= m.height) continue;
      grey[y * width + x] = g.data[sy * g.width + sx]!;
      cover[y * width + x] = m.data[sy * m.width + sx]!;
    }
  return { width, height, grey, cover };
}

/** Textures and things that cross: frames of the open clips where they are, else made ones alone (said). */
export async function rideMaterial(seed: number): Promise<{ textures: GreyImage[]; cutOuts: CutOut[] }> {
  const own = [patternTexture(seed, 1280, 800), patternTexture(seed + 1, 1280, 800)];
  if (!existsSync(join(CLIPS, 'dog'))) {
    console.log(`SKIPPED: no open clips at ${CLIPS}; textures and crossings are made ones alone`);
    return { textures: own, cutOuts: [blobCutOut(seed), blobCutOut(seed + 1)] };
  }
  return {
    textures: [
      await readGrey(join(CLIPS, 'camel', 'frames', '00000.jpg')),
      own[0]!,
      await readGrey(join(CLIPS, 'dog', 'frames', '00010.jpg')),
      own[1]!,
    ],
    cutOuts: [await cutOut('dog', '00010'), await cutOut('camel', '00030'), blobCutOut(seed)],
  };
}

/** The sequence through H.264 at crf 18 and back: 8-bit full-range luma a frame. */
export async function throughCodec(
  s: Pick<RideSequence, 'widthPx' | 'heightPx' | 'frameCount' | 'render'>,
): Promise<Uint8Array[]> {
  const folder = mkdtempSync(join(tmpdir(), 'ride-'));
  const path = join(folder, 's.mp4');
  const n = s.widthPx * s.heightPx;
  try {
    const writer = await VideoWriter.open(path, {
      widthPx: s.widthPx,
      heightPx: s.heightPx,
      rate: { num: 24, den: 1 },
      codec: 'h264',
      crf: 18,
    });
    const p = createPicture(s.widthPx, s.heightPx, 3);
    for (let t = 0; t < s.frameCount; t++) {
      const luma = s.render(t);
      for (let c = 0; c < 3; c++) p.data.set(luma, c * n);
      await writer.writeCoded(p);
    }
    await writer.close();
    const reader = await VideoReader.open(path);
    const out: Uint8Array[] = [];
    const plane = new Float32Array(n);
    for await (const f of reader.frames()) {
      lumaPlane(f, plane);
      out.push(Uint8Array.from(plane, (v) => Math.max(0, Math.min(255, Math.round(255 * v)))));
    }
    await reader.close();
    return out;
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

/**
 * Held 8-bit planes as the luma source of a track, each brought to floats once: a decoder's part is not what is timed.
 */
export function sourceOf(frames: readonly Uint8Array[], widthPx: number, heightPx: number): LumaSource {
  const held: Float32Array[] = [];
  return {
    widthPx,
    heightPx,
    frameCount: frames.length,
    async *frames(from, to) {
      for (let t = from; t < Math.min(to, frames.length); t++) {
        yield { index: t, luma: (held[t] ??= sharesOf(frames[t]!)) };
      }
    },
  };
}

function sharesOf(codes: Uint8Array): Float32Array {
  const out = new Float32Array(codes.length);
  for (let i = 0; i < out.length; i++) out[i] = codes[i]! / 255;
  return out;
}

/** Corner RMS in px of every frame after the key. */
function errorsOf(s: RideSequence, corners: readonly (readonly Point2[])[]): number[] {
  return corners
    .slice(1)
    .map((c, k) =>
      Math.sqrt(s.corners(k + 1).reduce((v, q, i) => v + ((q[0] - c[i]![0]) ** 2 + (q[1] - c[i]![1]) ** 2) / 4, 0)),
    );
}

class Tally {
  readonly errors: Record<RideLevel, number[]> = { easy: [], medium: [], hard: [] };
  lost = 0;
  count = 0;
  ms = 0;
  frames = 0;
  add(level: RideLevel, errors: readonly number[], ms: number): void {
    this.errors[level].push(...errors.map((e) => (Number.isFinite(e) ? e : Infinity)));
    if (!(errors.at(-1)! <= 15)) this.lost++;
    this.count++;
    this.ms += ms;
    this.frames += errors.length;
  }
  at(level: RideLevel, p: number): number {
    const v = [...this.errors[level]].sort((a, b) => a - b);
    return v[Math.min(v.length - 1, Math.floor(p * v.length))] ?? NaN;
  }
  get within(): number {
    const all = Object.values(this.errors).flat();
    return all.filter((e) => e <= 1).length / all.length;
  }
  get fps(): number {
    return (1000 * this.frames) / this.ms;
  }
}

/** The rows of the table; `sure`: frames said to be sure, and how many of them lie within a pixel. */
function rowsOf(
  own: Tally,
  ecc: Tally,
  klt: Tally,
  sure: { readonly frames: number; readonly right: number },
): BenchRow[] {
  const row = (
    what: string,
    f: (q: Tally) => number,
    bar: number | null,
    goal: number | null,
    unit: string,
    better: 'low' | 'high' = 'low',
  ): BenchRow => ({ name: `ride: ${what}`, ours: f(own), reference: f(ecc), bar, goal, unit, better });
  return [
    row(`corner RMS, easy, median (${own.count} sequences; reference ECC)`, (q) => q.at('easy', 0.5), 0.07, 0.05, 'px'),
    row('corner RMS, medium, median', (q) => q.at('medium', 0.5), 0.11, 0.08, 'px'),
    row('corner RMS, medium, 95th percentile', (q) => q.at('medium', 0.95), 0.31, 0.25, 'px'),
    row('corner RMS, hard, median', (q) => q.at('hard', 0.5), 0.3, 0.2, 'px'),
    row(`lost, of ${own.count}`, (q) => q.lost, 0, 0, ''),
    row('share of frames within 1 px', (q) => q.within, 0.9, 0.95, '', 'high'),
    {
      name: 'ride: of frames with confidence .6 and more, share within 1 px',
      ours: sure.frames === 0 ? null : sure.right / sure.frames,
      bar: 0.9,
      goal: 0.97,
      unit: '',
      better: 'high',
    },
    {
      name: 'ride: speed, one thread, this machine as loaded',
      ours: own.fps,
      reference: ecc.fps,
      bar: 25,
      goal: 60,
      unit: 'fps',
      better: 'high',
    },
    { name: 'ride: speed over ECC', ours: own.fps / ecc.fps, bar: 1, goal: null, unit: 'ratio', better: 'high' },
    {
      name: 'ride: corner RMS, medium, median, reference Lucas-Kanade chained',
      ours: own.at('medium', 0.5),
      reference: klt.at('medium', 0.5),
      bar: 0.11,
      goal: 0.08,
      unit: 'px',
    },
    {
      name: 'ride: corner RMS, hard, median, reference Lucas-Kanade chained',
      ours: own.at('hard', 0.5),
      reference: klt.at('hard', 0.5),
      bar: 0.3,
      goal: 0.2,
      unit: 'px',
    },
    {
      name: 'ride: speed over Lucas-Kanade',
      ours: own.fps / klt.fps,
      bar: null,
      goal: null,
      unit: 'ratio',
      better: 'high',
    },
  ];
}

export async function run(seed: number, full = false): Promise<BenchRow[]> {
  const { textures, cutOuts } = await rideMaterial(seed);
  const vision = await openVision();
  const plan: [RideLevel, number][] = (['easy', 'medium', 'hard'] as const).flatMap((l) =>
    (full ? [0, 1, 2, 3, 4, 5, 6, 7] : l === 'hard' ? [1, 2, 3] : [0, 1]).map((i) => [l, i] as [RideLevel, number]),
  );
  const own = new Tally();
  const ecc = new Tally();
  const klt = new Tally();
  const sure = { frames: 0, right: 0 };
  for (const [level, index] of plan) {
    const s = makeRideSequence(seed, index, level, textures, cutOuts);
    const frames = await throughCodec(s);
    const quad = s.corners(0);
    let t = performance.now();
    const track = await trackRegion(sourceOf(frames, s.widthPx, s.heightPx), { at: 0, polygon: quad });
    const errors = errorsOf(
      s,
      track.frames.map((f) => f.corners),
    );
    own.add(level, errors, performance.now() - t);
    errors.forEach((e, k) => {
      if (track.frames[k + 1]!.confidence >= 0.6) {
        sure.frames++;
        if (e <= 1) sure.right++;
      }
    });
    t = performance.now();
    const a = enhancedCorrelation(vision, frames, s.widthPx, s.heightPx, quad);
    ecc.add(level, errorsOf(s, a), performance.now() - t);
    t = performance.now();
    const b = lucasKanade(vision, frames, s.widthPx, s.heightPx, quad);
    klt.add(level, errorsOf(s, b), performance.now() - t);
    if (process.env.PW_BENCH_DETAIL !== undefined)
      console.log(
        `  ${s.name}: median ${[...errors].sort((p, q) => p - q)[errors.length >> 1]!.toFixed(3)}, ` +
          `worst ${Math.max(...errors).toFixed(2)}, end ${errors.at(-1)!.toFixed(2)}`,
      );
  }
  return rowsOf(own, ecc, klt, sure);
}
