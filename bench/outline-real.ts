/**
 * Outlines carried over real clips whose performer is known on every frame (DAVIS 2016; needs ../shared/footage, and
 * says so): a rough box on one frame in the midst, or nothing but what moves, then every frame's line beside the mask.
 * `npx tsx bench/outline-real.ts [dog|camel] [--frames=A-B] [--still] [--carried] [--pictures=FOLDER]`; without --still
 * what moves is tried too, with --carried lines are not mended by the set.
 */
import { existsSync, mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import type { Picture } from '../src/image/picture.js';
import { rasterizePolygon, type Point } from '../src/image/polygon.js';
import { followOutlines, type FollowedFrame } from '../src/join/outline/follow-outline.js';
import type { Hints } from '../src/join/outline/outline-hints.js';
import { findOutline } from '../src/join/outline/outline-take.js';
import { toCodedRgb } from '../src/media/convert.js';
import { readPng, writePng16 } from '../src/media/stills.js';
import { VideoReader } from '../src/media/video-reader.js';

const DAVIS = fileURLToPath(new URL('../../shared/footage/davis/', import.meta.url));
/** Share of its longer side by which a hand's rough box is wider than the performer. */
const ROOMY = 0.06;
const SHOWN = 8;

const words = process.argv.slice(2);
const option = (name: string): string | undefined =>
  words.find((w) => w.startsWith(`--${name}=`))?.slice(name.length + 3);
const pictures = option('pictures');
const span = (option('frames') ?? '0-39').split('-').map(Number) as [number, number];
const clips = words.filter((w) => !w.startsWith('--'));

async function maskAt(clip: string, n: number): Promise<Uint8Array> {
  const m = await readPng(join(DAVIS, clip, 'masks', `${String(n).padStart(5, '0')}.png`));
  return Uint8Array.from(m.data.subarray(0, m.width * m.height), (v) => (v > 0.5 ? 1 : 0));
}

function boxAround(mask: Uint8Array, w: number): Point[] {
  let [x0, y0, x1, y1] = [w, 1e9, 0, 0];
  mask.forEach((v, i) => {
    if (v === 0) return;
    x0 = Math.min(x0, i % w);
    x1 = Math.max(x1, i % w);
    y0 = Math.min(y0, Math.floor(i / w));
    y1 = Math.max(y1, Math.floor(i / w));
  });
  const e = ROOMY * Math.max(x1 - x0, y1 - y0);
  return [
    [x0 - e, y0 - e],
    [x1 + e, y0 - e],
    [x1 + e, y1 + e],
    [x0 - e, y1 + e],
  ];
}

interface Reading {
  readonly overlap: number;
  /** Share of the performer's area that is lost, and that is kept of the set. */
  readonly lost: number;
  readonly kept: number;
}
function read(found: Float32Array, truth: Uint8Array): Reading {
  let [both, any, own, more] = [0, 0, 0, 0];
  truth.forEach((t, i) => {
    const f = found[i]! > 0.5;
    if (t === 1) own++;
    if (t === 1 && f) both++;
    if (t === 0 && f) more++;
    if (t === 1 || f) any++;
  });
  return { overlap: both / any, lost: 1 - both / own, kept: more / own };
}

/** Beside each frame wanted its line in yellow over the picture, what is lost in red and kept of the set in blue. */
function shown(coded: Picture, found: Float32Array, truth: Uint8Array): Picture {
  const { width: w, height: h } = coded;
  const n = w * h;
  const out = coded.data.slice(0, 3 * n);
  for (let i = 0; i < n; i++) {
    const f = found[i]! > 0.5;
    const edge = f !== found[i + 1]! > 0.5 || f !== (found[i + w] ?? 0) > 0.5;
    const tint = edge ? [1, 0.9, 0] : f && truth[i] === 0 ? [0.1, 0.3, 1] : !f && truth[i] === 1 ? [1, 0, 0] : null;
    if (tint !== null)
      for (let p = 0; p < 3; p++) out[p * n + i] = (edge ? 0 : 0.5) * out[p * n + i]! + (edge ? 1 : 0.5) * tint[p]!;
  }
  return { width: w, height: h, channels: 3, data: out };
}

async function clip(name: string, motion: boolean): Promise<void> {
  const reader = await VideoReader.open(join(DAVIS, name, 'frames', '%05d.jpg'));
  try {
    const at = (span[0] + span[1]) >> 1;
    const hints: Hints = {
      about: motion ? [] : [boxAround(await maskAt(name, at), reader.info.widthPx)],
      performer: [],
      set: [],
    };
    const title = `${name}, ${motion ? 'what moves' : 'a rough box'}`;
    const from = process.cpuUsage();
    const found = await findOutline(reader, at, hints);
    if (found.polygon === null) {
      console.log(`${title}: ${found.why}`);
      return;
    }
    const frames = await followOutlines(
      reader,
      [{ frame: at, polygon: found.polygon }],
      {
        from: span[0],
        to: span[1] + 1,
      },
      { mend: !words.includes('--carried') },
    );
    const used = process.cpuUsage(from);
    await report(title, reader, frames, at, (used.user + used.system) / 1e6 / frames.length);
  } finally {
    await reader.close();
  }
}

async function report(
  title: string,
  reader: VideoReader,
  frames: readonly FollowedFrame[],
  at: number,
  seconds: number,
): Promise<void> {
  const { widthPx: w, heightPx: h } = reader.info;
  const name = title.split(',')[0]!;
  const rows: (Reading & { frame: number })[] = [];
  let before: Uint8Array | null = null;
  let chatter = 0;
  const step = Math.max(1, Math.floor(frames.length / SHOWN));
  for (const [k, f] of frames.entries()) {
    const truth = await maskAt(name, f.frame);
    const mask = f.polygon.length < 3 ? new Float32Array(w * h) : rasterizePolygon(f.polygon, w, h);
    rows.push({ frame: f.frame, ...read(mask, truth) });
    // What comes and goes of the error, over the performer's area.
    const wrong = truth.map((t, i) => ((t === 1) !== mask[i]! > 0.5 ? 1 : 0));
    const area = truth.reduce((s, v) => s + v, 0);
    if (before !== null) chatter += wrong.reduce((s, v, i) => s + (v !== before![i] ? 1 : 0), 0) / area;
    before = wrong;
    if (pictures !== undefined && k % step === 0)
      await writePng16(
        join(pictures, `${title.replace(/[^a-z]+/g, '-')}-${String(f.frame).padStart(3, '0')}.png`),
        shown(toCodedRgb(await reader.frame(f.frame)), mask, truth),
      );
  }
  const mean = (of: (r: Reading) => number): string => (rows.reduce((s, r) => s + of(r), 0) / rows.length).toFixed(3);
  const worst = rows.reduce((a, b) => (b.overlap < a.overlap ? b : a));
  console.log(
    `${title}: found on ${at} with ${rows.find((r) => r.frame === at)!.overlap.toFixed(3)}; ` +
      `${rows.length} frames: overlap ${mean((r) => r.overlap)}, lost ${mean((r) => r.lost)}, ` +
      `kept of the set ${mean((r) => r.kept)}; least ${worst.overlap.toFixed(3)} on ${worst.frame}; ` +
      `error's change ${(chatter / Math.max(1, rows.length - 1)).toFixed(3)}; ${seconds.toFixed(2)} s a frame`,
  );
}

async function main(): Promise<void> {
  if (!existsSync(DAVIS)) {
    console.log('needs ../shared/footage/davis: nothing measured');
    return;
  }
  if (pictures !== undefined) mkdirSync(pictures, { recursive: true });
  for (const name of clips.length > 0 ? clips : ['dog', 'camel']) {
    await clip(name, false);
    if (!words.includes('--still')) await clip(name, true);
  }
}
await main();
