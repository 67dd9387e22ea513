/** Holes drawn into frames of real clips, of shapes that an erase leaves unseen. */
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { maskBox } from '../src/image/mask-box.js';
import { RandomStream } from '../src/core/random.js';
import { distanceToSet } from '../src/image/distance.js';
import type { Picture } from '../src/image/picture.js';
import { codedLuma } from '../src/join/erase/coded-luma.js';
import { toCodedRgb } from '../src/media/convert.js';
import { VideoReader } from '../src/media/video-reader.js';

export const FOOTAGE = fileURLToPath(new URL('../../shared/footage/', import.meta.url));
const CLIPS = [
  'tears-of-steel-30s.mp4',
  'sintel-26s.mp4',
  'nasa-13013.mp4',
  'handheld-round-object.mp4',
  'locked-off-people.mp4',
  'davis/camel/frames/%05d.jpg',
  'davis/dog/frames/%05d.jpg',
  'green-wall-person.mp4',
];
const MASKS = ['davis/camel/masks/%05d.png', 'davis/dog/masks/%05d.png'];
export const HOLES = 70;

interface Hole {
  readonly name: string;
  readonly picture: Picture;
  readonly hole: Uint8Array;
}

/** An oval, or an animal's outline, over a frame. */
async function shape(random: RandomStream, w: number, h: number, masks: readonly VideoReader[]): Promise<Uint8Array> {
  const out = new Uint8Array(w * h);
  const tall = (0.125 + 0.33 * random.uniform()) * h;
  const kind = random.below(2);
  const mask = masks[random.below(masks.length)]!;
  const at = random.below(mask.info.frameCount);
  const turn = Math.PI * random.uniform();
  const long = 0.5 + random.uniform();
  const fx = random.uniform();
  const fy = random.uniform();
  if (kind === 0) {
    const a = tall / 2;
    const b = a * long;
    const c = Math.cos(turn);
    const s = Math.sin(turn);
    const r = Math.max(a, b) + 12;
    const cx = r + fx * (w - 2 * r);
    const cy = r + fy * Math.max(1, h - 2 * r);
    for (let y = 0; y < h; y++)
      for (let x = 0; x < w; x++) {
        const u = x - cx;
        const v = y - cy;
        if (((c * u + s * v) / a) ** 2 + ((c * v - s * u) / b) ** 2 < 1) out[y * w + x] = 1;
      }
    return out;
  }
  const m = toCodedRgb(await mask.frame(at));
  const n = m.width * m.height;
  const [x0, y0, x1, y1] = maskBox(m.data.subarray(n, 2 * n), m.width, m.height, 0.5) ?? [m.width, m.height, 0, 0];
  const k = tall / (y1 - y0);
  const ow = k * (x1 - x0);
  const left = Math.round(12 + fx * Math.max(1, w - 24 - ow));
  const top = Math.round(12 + fy * Math.max(1, h - 24 - tall));
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const u = Math.floor(x0 + (x - left) / k);
      const v = Math.floor(y0 + (y - top) / k);
      if (u >= x0 && v >= y0 && u < x1 && v < y1 && m.data[n + v * m.width + u]! > 0.5) out[y * w + x] = 1;
    }
  return out;
}

/** Whether the place says anything: neither a black bar nor burnt, and not one flat colour. */
function worth(p: Picture, hole: Uint8Array): boolean {
  const luma = codedLuma(p);
  const far = distanceToSet(hole, p.width, p.height);
  let n = 0;
  let sum = 0;
  let square = 0;
  let inside = 0;
  for (let i = 0; i < hole.length; i++) {
    if (hole[i] !== 0) inside++;
    if (far[i]! > 10) continue;
    n++;
    sum += luma[i]!;
    square += luma[i]! ** 2;
  }
  const mean = sum / n;
  const sd = Math.sqrt(Math.max(0, square / n - mean * mean));
  return inside > 200 && mean > 0.08 && mean < 0.92 && sd > 0.02;
}

export async function drawHoles(seed: number, count: number): Promise<Hole[]> {
  const masks = await Promise.all(MASKS.map((m) => VideoReader.open(join(FOOTAGE, m))));
  const readers = await Promise.all(CLIPS.map((c) => VideoReader.open(join(FOOTAGE, c))));
  const random = new RandomStream(seed, 5);
  const out: Hole[] = [];
  try {
    for (let tries = 0; out.length < count && tries < 20 * count; tries++) {
      const k = tries % CLIPS.length;
      const reader = readers[k]!;
      const n = random.below(reader.info.frameCount);
      const read = toCodedRgb(await reader.frame(n));
      const picture = { ...read, data: read.data.slice() };
      const hole = await shape(random, picture.width, picture.height, masks);
      if (worth(picture, hole))
        out.push({ name: `${CLIPS[k]!.replace(/[^a-z0-9]+/gi, '-').slice(0, 14)}-${n}`, picture, hole });
    }
  } finally {
    for (const r of [...masks, ...readers]) await r.close();
  }
  return out;
}
