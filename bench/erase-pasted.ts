/**
 * Erase on real clips whose truth is known: an animal (DAVIS 2016, with its mask) is pasted over a clip of
 * `../shared/footage` or `../shared/truth` and walks across it, sometimes while the exposure drifts; what is
 * erased is compared with the clip as it was. The clips bring what the made ones lack: a hand's shake, travel
 * through depth, motion blur, leaves, compression. Run: `npx tsx bench/erase-pasted.ts [case,...]
 * [--count=FRAMES] [--every=N] [--pictures=DIR] [--json]`.
 */
import { existsSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { maskBox } from '../src/image/mask-box.js';
import { bt709Decode, bt709Encode } from '../src/colour/transfer.js';
import { convexHull } from '../src/image/outline.js';
import { createPicture, plane, type Picture } from '../src/image/picture.js';
import { resize } from '../src/image/resize.js';
import { toCodedRgb } from '../src/media/convert.js';
import { VideoReader } from '../src/media/video-reader.js';
import { VideoWriter } from '../src/media/video-writer.js';
import type { RegionFile } from '../src/plate/marks/marks.js';
import { measureOne } from './erase-score.js';
import type { BenchRow } from './rows.js';
import { CASES, SHARED } from './erase-pasted-cases.js';

interface Sprite {
  readonly rgb: Picture;
  readonly alpha: Picture;
}

async function sprite(reader: VideoReader, masks: VideoReader, k: number, height: number): Promise<Sprite> {
  const n = k % reader.info.frameCount;
  const rgb = toCodedRgb(await reader.frame(n));
  const picture = { ...rgb, data: rgb.data.slice() };
  const mask = toCodedRgb(await masks.frame(n));
  const { width: w, height: h } = mask;
  const [x0, y0, x1, y1] = maskBox(plane(mask, 1), w, h, 0.5) ?? [w, h, 0, 0];
  const part = (p: Picture, channels: 1 | 3): Picture => {
    const out = createPicture(x1 - x0, y1 - y0, channels);
    for (let c = 0; c < channels; c++)
      for (let y = y0; y < y1; y++)
        plane(out, c).set(plane(p, c).subarray(y * w + x0, y * w + x1), (y - y0) * out.width);
    return out;
  };
  const oh = Math.round(height);
  const ow = Math.max(8, Math.round((oh * (x1 - x0)) / (y1 - y0)));
  return { rgb: resize(part(picture, 3), ow, oh), alpha: resize(part(mask, 1), ow, oh) };
}

/** Lays the animal down and returns the outline of what it covers (its convex hull). */
function paste(to: Picture, s: Sprite, footX: number, footY: number): [number, number][] {
  const { width: w, height: h } = to;
  const sw = s.rgb.width;
  const sh = s.rgb.height;
  const x0 = Math.round(footX - sw / 2);
  const y0 = Math.round(footY - sh);
  const points: [number, number][] = [];
  for (let y = 0; y < sh; y++)
    for (let x = 0; x < sw; x++) {
      const a = s.alpha.data[y * sw + x]!;
      const X = x + x0;
      const Y = y + y0;
      if (a <= 0.01) continue;
      points.push([X, Y], [X + 1, Y + 1]);
      if (X < 0 || Y < 0 || X >= w || Y >= h) continue;
      for (let c = 0; c < 3; c++) {
        const o = c * w * h + Y * w + X;
        to.data[o] = to.data[o]! + a * (s.rgb.data[c * sw * sh + y * sw + x]! - to.data[o]!);
      }
    }
  return convexHull(points).map(([x, y]) => [x, y]);
}

/** Takes the light of a shadow on the ground beside a foot: an ellipse along the picture with a soft edge. */
function shade(p: Picture, footX: number, footY: number, height: number, share: number): void {
  const { width: w, height: h } = p;
  const rx = 0.55 * height;
  const ry = 0.11 * height;
  const cx = footX + 0.6 * height;
  for (let y = Math.max(0, Math.floor(footY - 2 * ry)); y < Math.min(h, footY + 2 * ry); y++)
    for (let x = Math.max(0, Math.floor(cx - 1.5 * rx)); x < Math.min(w, cx + 1.5 * rx); x++) {
      const r = Math.hypot((x - cx) / rx, (y - footY) / ry);
      const k = 1 - share * Math.min(1, Math.max(0, (1.15 - r) / 0.3));
      for (let c = 0; c < 3; c++) {
        const o = c * w * h + y * w + x;
        p.data[o] = bt709Encode(k * bt709Decode(p.data[o]!));
      }
    }
}

/** One outline about all that is covered, from the first frame on; the frame before it shows the place bare. */
function oneOutline(frames: RegionFile['frames'], first: number): RegionFile {
  const polygon = convexHull(frames.flatMap((f) => f.polygon)).map(([x, y]) => [x, y] as [number, number]);
  const last = frames[frames.length - 1]!.frame;
  return {
    frames: [
      { frame: first - 1, polygon, gone: true },
      { frame: first, polygon },
      { frame: last, polygon },
    ],
  };
}

/**
 * Writes a case's clip and its truth into a folder; null, loudly, where the material is not there. `shadow`: share of
 * the light that the animal's shadow takes (none: none is laid).
 */
export async function makeCase(
  name: string,
  folder: string,
  shadow = 0,
): Promise<{ readonly part: string; readonly truth: string; readonly region: RegionFile } | null> {
  const c = CASES[name];
  if (c === undefined) throw new Error(`there is no case ${name}; there are ${Object.keys(CASES).join(', ')}`);
  const file = join(SHARED, c.file);
  if (!existsSync(file.replace('%05d', '00000'))) {
    console.log(`SKIPPED: ${name}, ${c.file} is not in ../shared beside the checkout`);
    return null;
  }
  const reader = await VideoReader.open(file);
  const { widthPx: w, heightPx: h, rate, colour } = reader.info;
  const animal = await VideoReader.open(join(SHARED, `footage/davis/${c.animal}/frames/%05d.jpg`));
  const masks = await VideoReader.open(join(SHARED, `footage/davis/${c.animal}/masks/%05d.png`));
  const part = join(folder, 'part.mkv');
  const options = {
    widthPx: w,
    heightPx: h,
    rate,
    codec: 'ffv1',
    colour: { ...colour, matrix: 'rgb', fullRange: true },
  } as const;
  const writer = await VideoWriter.open(part, options);
  const truth = await VideoWriter.open(join(folder, 'truth.mkv'), options);
  const frames: { frame: number; polygon: [number, number][] }[] = [];
  const count = Math.min(c.count, Number(process.argv.find((a) => a.startsWith('--count='))?.slice(8) ?? c.count));
  for (let k = 0; k < count; k++) {
    const t = k / (c.count - 1);
    const p = toCodedRgb(await reader.frame(c.from + k));
    const whole = { ...p, data: p.data.slice() };
    const gain = 1 + ((c.exposure ?? 1) - 1) * t;
    const there = k >= (c.arrives ?? 0);
    const opens = there ? (c.opens ?? 0) : 0;
    for (let i = 0; i < whole.data.length; i++) {
      const v = whole.data[i]!;
      whole.data[i] = Math.min(1, v * gain * (1 + opens * (1 - 0.5 * v)));
    }
    await truth.writeCoded(whole);
    if (!there) {
      await writer.writeCoded(whole);
      continue;
    }
    const s = await sprite(animal, masks, k, c.height * h);
    if (shadow > 0)
      shade(
        whole,
        w * (c.path[0][0] + t * (c.path[1][0] - c.path[0][0])),
        h * (c.path[0][1] + t * (c.path[1][1] - c.path[0][1])),
        c.height * h,
        shadow,
      );
    const polygon = paste(
      whole,
      s,
      w * (c.path[0][0] + t * (c.path[1][0] - c.path[0][0])),
      h * (c.path[0][1] + t * (c.path[1][1] - c.path[0][1])),
    );
    frames.push({ frame: k, polygon });
    await writer.writeCoded(whole);
  }
  const region = c.arrives === undefined ? { frames } : oneOutline(frames, c.arrives);
  for (const r of [writer, truth]) await r.close();
  for (const r of [reader, animal, masks]) await r.close();
  return { part, truth: join(folder, 'truth.mkv'), region };
}

async function one(name: string): Promise<{ seen: number | null; unseen: number | null } | null> {
  const folder = mkdtempSync(join(tmpdir(), 'bench-pasted-'));
  try {
    const made = await makeCase(name, folder);
    if (made === null) return null;
    const clean = await VideoReader.open(made.truth);
    const score = await measureOne(name, made.part, made.region, async (n) => toCodedRgb(await clean.frame(n)));
    await clean.close();
    return score;
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

/** Rows for `npm run bench`: the set is fixed, so the seed has no part. */
export async function run(_seed: number, _full = false): Promise<BenchRow[]> {
  const rows: BenchRow[] = [];
  for (const name of Object.keys(CASES)) {
    const score = await one(name);
    if (score === null) continue;
    rows.push({
      name: `erase, pasted over ${name}: PSNR where some frame shows it`,
      ours: score.seen,
      reference: null,
      bar: 34,
      goal: 38,
      unit: 'dB',
      better: 'high',
    });
    rows.push({
      name: `erase, pasted over ${name}: PSNR where none does`,
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
  const wanted =
    process.argv
      .slice(2)
      .find((a) => !a.startsWith('--'))
      ?.split(',') ?? Object.keys(CASES);
  for (const name of wanted) await one(name);
}
