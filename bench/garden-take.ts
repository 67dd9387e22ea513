/**
 * A made take without a screen: a hedge and a lawn that stir in the wind, a furred performer with its
 * shadow, and an empty frame of the same set-up, whose leaves hang otherwise and whose light is a little
 * other. Matte and colour are known; all from a seed.
 */
import { bt709Encode } from '../src/colour/transfer.js';
import { RandomStream } from '../src/core/random.js';
import { rate } from '../src/core/rational.js';
import { createPicture } from '../src/image/picture.js';
import { VideoWriter } from '../src/media/video-writer.js';
import { addShifted, castShadow, performer, waves, type HardFrame } from './drawn-performer.js';

export interface Garden {
  readonly name: string;
  /** Largest way of a leaf, px. */
  readonly wind: number;
  /** Light on the empty frame over the take's. */
  readonly drift: number;
  readonly cast: number;
  readonly noise: number;
  readonly crf: number;
  /** The phone exposed and balanced the empty frame otherwise, and bent its curve. */
  readonly phone?: boolean;
}
export const GARDENS: readonly Garden[] = [
  { name: 'garden, still', wind: 0.2, drift: 1, cast: 0.35, noise: 0.006, crf: 22 },
  { name: 'garden, a breeze', wind: 2, drift: 1.03, cast: 0.35, noise: 0.006, crf: 22 },
  { name: 'garden, wind', wind: 6, drift: 0.96, cast: 0.35, noise: 0.008, crf: 24 },
  { name: 'garden, phone', wind: 0.5, drift: 0.75, cast: 0.35, noise: 0.006, crf: 26, phone: true },
];

/** White of a phone's empty frame over the take's, and the power of its curve. */
const WHITE = [0.94, 1, 1.08] as const;
const CURVE = 1.08;

/** A hedge over a lawn that begins at row `border`, still; scene-linear, planar. */
function emptyGarden(random: RandomStream, w: number, h: number, border: number): Float32Array {
  const n = w * h;
  const set = new Float32Array(3 * n);
  const rough = waves(random, 3);
  const patch = waves(random, 60);
  for (let i = 0; i < n; i++) {
    const x = i % w;
    const y = Math.floor(i / w);
    const l = y > border ? 0.8 + 0.25 * rough(x, 2 * y) + 0.15 * patch(x, y) : 0.35;
    for (let p = 0; p < 3; p++)
      set[p * n + i] = Math.max(0.01, (y > border ? [0.1, 0.16, 0.05] : [0.02, 0.03, 0.015])[p]! * l);
  }
  hangLeaves(random, set, w, h, border);
  return set;
}

/** The hedge's leaves, from the back to the front. */
function hangLeaves(random: RandomStream, set: Float32Array, w: number, h: number, border: number): void {
  const n = w * h;
  for (let k = 0; k < 0.012 * n; k++) {
    const x = w * random.uniform();
    const y = border * 1.05 * random.uniform();
    const a = 3.14 * random.uniform();
    const long = 3 + 6 * random.uniform();
    const wide = 1 + 2 * random.uniform();
    const l = 0.3 + 1.4 * random.uniform() ** 2;
    const red = random.uniform() < 0.06 ? 4 : 0.7 + 0.6 * random.uniform();
    const c = Math.cos(a);
    const s = Math.sin(a);
    for (let v = Math.max(0, Math.floor(y - long)); v <= Math.min(h - 1, y + long); v++)
      for (let u = Math.max(0, Math.floor(x - long)); u <= Math.min(w - 1, x + long); u++) {
        const e = (((u - x) * c + (v - y) * s) / long) ** 2 + (((v - y) * c - (u - x) * s) / wide) ** 2;
        if (e >= 1) continue;
        [0.07 * red, 0.15, 0.04].forEach((g, p) => {
          set[p * n + v * w + u] = g * l * (1.1 - 0.4 * e);
        });
      }
  }
}

/** Frames 0 to count - 1 show the performer; `tail` empty frames follow. */
export async function gardenTake(
  path: string,
  seed: number,
  kind: Garden,
  w: number,
  h: number,
  count: number,
  tail: number,
): Promise<readonly HardFrame[]> {
  const random = new RandomStream(seed, 29);
  const n = w * h;
  const size = 0.26 * h;
  const cx = w * (0.4 + 0.2 * random.uniform());
  const cy = h * 0.66;
  const layer = performer(random, w, h, cx, cy, size, false, [0, 0, 0]);
  const border = h * 0.62;
  const set = emptyGarden(random, w, h, border);
  const phase = waves(random, 140);
  const phase2 = waves(random, 50);
  const writer = await VideoWriter.open(path, {
    widthPx: w,
    heightPx: h,
    rate: rate(24),
    codec: 'h264',
    crf: kind.crf,
  });
  const frames: HardFrame[] = [];
  const cover = layer.alpha;
  const premultiplied = new Float32Array(3 * n);
  for (let i = 0; i < n; i++) for (let p = 0; p < 3; p++) premultiplied[p * n + i] = cover[i]! * layer.rgb[p * n + i]!;
  for (let f = 0; f < count + tail; f++) {
    const t = f < count ? f : f + 40;
    const alpha = new Float32Array(n);
    const own = new Float32Array(3 * n);
    const shade = new Float32Array(n);
    const light = f < count ? 1 : kind.drift;
    if (f < count) {
      addShifted(alpha, cover, w, h, 1, 3 * (f - count / 2), Math.sin(f), 1);
      addShifted(own, premultiplied, w, h, 3, 3 * (f - count / 2), Math.sin(f), 1);
      castShadow(shade, alpha, w, h, cx, cy + 0.72 * size, 4);
    }
    const coded = createPicture(w, h, 3);
    const colour = new Float32Array(3 * n);
    for (let y = 0, i = 0; y < h; y++)
      for (let x = 0; x < w; x++, i++) {
        const sway = kind.wind * (y > border ? 0.25 : 1);
        const q = 1.5 * phase(x, y) + phase2(x, y);
        const u = Math.min(w - 1.01, Math.max(0, x + sway * Math.sin(0.5 * t + 3 * q)));
        const v = Math.min(h - 1.01, Math.max(0, y + 0.6 * sway * Math.sin(0.37 * t + 4 * q)));
        const a = u | 0;
        const b = v | 0;
        const k = u - a;
        const m = v - b;
        for (let p = 0; p < 3; p++) {
          const o = p * n + b * w + a;
          const back =
            ((1 - m) * ((1 - k) * set[o]! + k * set[o + 1]!) + m * ((1 - k) * set[o + w]! + k * set[o + w + 1]!)) *
            light *
            (1 - (1 - kind.cast) * shade[i]!);
          const other = kind.phone === true && f >= count;
          const value = bt709Encode(Math.max(0, (own[p * n + i]! + (1 - alpha[i]!) * back) * (other ? WHITE[p]! : 1)));
          coded.data[p * n + i] = Math.min(
            1,
            Math.max(0, (other ? value ** CURVE : value) + kind.noise * random.normal()),
          );
          colour[p * n + i] = alpha[i]! > 0 ? bt709Encode(Math.min(1, own[p * n + i]! / alpha[i]!)) : 0;
        }
      }
    await writer.writeCoded(coded);
    if (f < count) frames.push({ alpha, colour });
  }
  await writer.close();
  return frames;
}
