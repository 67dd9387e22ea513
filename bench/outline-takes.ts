/**
 * Takes without a screen whose matte is known: the furred subjects of ../shared/keying, moved as a performer
 * moves who holds about still, over real hand-held clips of ../shared/footage; mixed in linear light, with
 * camera noise, coded as a camera does. From a seed.
 */
import { existsSync, readdirSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { bt709Decode, bt709Encode } from '../src/colour/transfer.js';
import { RandomStream } from '../src/core/random.js';
import { rate } from '../src/core/rational.js';
import { createPicture, type Picture } from '../src/image/picture.js';
import { pushPull } from '../src/image/push-pull.js';
import { resize } from '../src/image/resize.js';
import { toCodedRgb } from '../src/media/convert.js';
import { readPng } from '../src/media/stills.js';
import { VideoReader } from '../src/media/video-reader.js';
import { VideoWriter } from '../src/media/video-writer.js';

export const SHARED = fileURLToPath(new URL('../../shared/', import.meta.url));
export const hasShared = (): boolean => existsSync(`${SHARED}keying/subjects`);

export interface OutlineCase {
  readonly name: string;
  readonly subject: number;
  readonly set: 'camel' | 'dog' | 'table' | 'street';
  readonly from: number;
  /** Height of the subject's picture over the take's. */
  readonly size: number;
  readonly at: readonly [number, number];
}
/**
 * Subjects whose picture ends at the photograph's edge stand at the take's edge there. `at`: the subject picture's
 * middle, shares of the take's width and its lower edge over its height.
 */
export const CASES: readonly OutlineCase[] = [
  { name: 'camel head before a garden', subject: 1, set: 'dog', from: 4, size: 0.95, at: [0.45, 1.02] },
  { name: 'antelope before a fence', subject: 4, set: 'camel', from: 20, size: 0.9, at: [0.36, 1.02] },
  { name: 'lion before a street', subject: 6, set: 'street', from: 90, size: 0.9, at: [0.66, 1.02] },
  { name: 'sheep over a table', subject: 9, set: 'table', from: 30, size: 1, at: [0.17, 1.02] },
  { name: 'lion over dry grass', subject: 6, set: 'dog', from: 10, size: 0.8, at: [0.7, 1.02] },
  { name: 'sheep before a fence', subject: 9, set: 'camel', from: 50, size: 0.9, at: [0.16, 1.02] },
];

export interface OutlineTruth {
  readonly alpha: Float32Array;
  /** Straight, BT.709-coded. */
  readonly colour: Float32Array;
}

async function* setFrames(kind: OutlineCase['set'], from: number, count: number): AsyncGenerator<Picture> {
  if (kind === 'camel' || kind === 'dog') {
    const folder = `${SHARED}footage/davis/${kind}/frames/`;
    const names = readdirSync(folder).sort();
    for (let k = 0; k < count; k++) yield await readPng(folder + names[Math.min(names.length - 1, from + k)]!);
    return;
  }
  const reader = await VideoReader.open(
    `${SHARED}footage/${kind === 'table' ? 'handheld-round-object' : 'tears-of-steel-30s'}.mp4`,
  );
  try {
    for (let k = 0; k < count; k++) {
      const c = toCodedRgb(await reader.frame(from + k));
      yield { ...c, data: c.data.slice() };
    }
  } finally {
    await reader.close();
  }
}

/**
 * The subject's colour without its photograph's background: what is solid drawn outwards. Linear, with alpha, at its
 * own size.
 */
async function subject(n: number): Promise<{ rgb: Float32Array; alpha: Float32Array; w: number; h: number }> {
  const photo = await readPng(`${SHARED}keying/subjects/sample${n}.jpg`);
  const matte = await readPng(`${SHARED}keying/subjects/sample${n}.png`);
  const { width: w, height: h } = photo;
  const m = w * h;
  const alpha = Float32Array.from(matte.data.subarray(0, m));
  const solid = alpha.map((a) => (a > 0.97 ? 1 : 0));
  const planes = [0, 1, 2].map((p) => photo.data.slice(p * m, (p + 1) * m).map(bt709Decode));
  const drawn = pushPull(planes, solid, w, h);
  const rgb = new Float32Array(3 * m);
  for (let p = 0; p < 3; p++)
    for (let i = 0; i < m; i++) {
      const k = Math.min(1, Math.max(0, (alpha[i]! - 0.5) / 0.5));
      rgb[p * m + i] = k * planes[p]![i]! + (1 - k) * drawn[p]![i]!;
    }
  return { rgb, alpha, w, h };
}

function sampled(data: Float32Array, w: number, h: number, at: number, x: number, y: number): number {
  const u = Math.min(w - 1.001, Math.max(0, x));
  const v = Math.min(h - 1.001, Math.max(0, y));
  const a = u | 0;
  const b = v | 0;
  const k = u - a;
  const m = v - b;
  const o = at + b * w + a;
  return (1 - m) * ((1 - k) * data[o]! + k * data[o + 1]!) + m * ((1 - k) * data[o + w]! + k * data[o + w + 1]!);
}

/** Writes the take; frame by frame truth. @param written the file is there from before: only the truth is made */
export async function outlineTake(
  path: string,
  seed: number,
  kind: OutlineCase,
  w: number,
  h: number,
  count: number,
  noise = 0.005,
  written = false,
): Promise<readonly OutlineTruth[]> {
  const random = new RandomStream(seed, 41);
  const s = await subject(kind.subject);
  const scale = (kind.size * h) / s.h;
  const truths: OutlineTruth[] = [];
  const n = w * h;
  const { rgb, alpha, w: sw, h: sh } = s;
  const premultiplied = new Float32Array(4 * sw * sh);
  for (let i = 0; i < sw * sh; i++) {
    for (let p = 0; p < 3; p++) premultiplied[p * sw * sh + i] = rgb[p * sw * sh + i]! * alpha[i]!;
    premultiplied[3 * sw * sh + i] = alpha[i]!;
  }
  const tw = Math.round(s.w * scale);
  const th = Math.round(s.h * scale);
  const small = resize({ width: sw, height: sh, channels: 4, data: premultiplied }, tw, th, 'area');
  const m = tw * th;
  const writer = written
    ? null
    : await VideoWriter.open(path, { widthPx: w, heightPx: h, rate: rate(24), codec: 'h264', crf: 20 });
  const phase = 6.28 * random.uniform();
  let f = 0;
  for await (const set of setFrames(kind.set, kind.from, count)) {
    const back = written ? set : resize(set, w, h, set.width < w ? 'cubic' : 'area');
    const coded = createPicture(w, h, 3);
    const truth = { alpha: new Float32Array(n), colour: new Float32Array(3 * n) };
    // Breath, a lean and a small step: pixels of the take; the subject's lower edge stays beyond the picture's.
    const turn = 0.03 * Math.sin(0.21 * f + phase);
    const grow = 1.02 + 0.012 * Math.sin(0.35 * f);
    const ox = kind.at[0] * w + 9 * Math.sin(0.16 * f + 2 * phase);
    const oy = kind.at[1] * h + 2 * Math.sin(0.4 * f);
    const c = Math.cos(turn) / grow;
    const q = Math.sin(turn) / grow;
    for (let y = 0, i = 0; y < h; y++)
      for (let x = 0; x < w; x++, i++) {
        const dx = x - ox;
        const dy = y - oy;
        const u = c * dx + q * dy + tw / 2;
        const v = -q * dx + c * dy + th;
        const clampX = kind.at[0] < 0.3 && u < 0 ? 0 : kind.at[0] > 0.6 && u > tw - 1 ? tw - 1 : u;
        let a = 0;
        if (clampX >= 0 && v >= 0 && clampX <= tw - 1 && v <= th - 1 + 30)
          a = sampled(small.data, tw, th, 3 * m, clampX, v);
        truth.alpha[i] = a;
        for (let p = 0; p < 3; p++) {
          const own = a > 0 ? sampled(small.data, tw, th, p * m, clampX, v) : 0;
          const b = written ? 0 : bt709Decode(Math.min(1, Math.max(0, back.data[p * n + i]!)));
          if (!written)
            coded.data[p * n + i] = Math.min(1, Math.max(0, bt709Encode(own + (1 - a) * b) + noise * random.normal()));
          truth.colour[p * n + i] = a > 0 ? bt709Encode(Math.min(1, own / a)) : 0;
        }
      }
    await writer?.writeCoded(coded);
    truths.push(truth);
    f++;
  }
  await writer?.close();
  return truths;
}
