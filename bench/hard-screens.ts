/**
 * Made takes before screens of kinds that no practice screen has, with known matte and colour: a furred body of
 * many parts (ears, legs, a thin tail, drawn hairs), screens of other hues, wrinkles, a half in shadow,
 * markers, a screen that ends inside the picture, motion blur, sharpening, noise, 4:2:0 and compression. Light
 * is mixed scene-linear. Everything follows from a seed.
 */
import { bt709Encode } from '../src/colour/transfer.js';
import { RandomStream } from '../src/core/random.js';
import { rate } from '../src/core/rational.js';
import { gaussianPlane } from '../src/image/gaussian.js';
import { createPicture, type Picture } from '../src/image/picture.js';
import { VideoWriter } from '../src/media/video-writer.js';
import { addHolder, lightOf } from './home-screens.js';
import { type HardFrame, addShifted, castShadow, grown, performer, waves } from './drawn-performer.js';
import type { HardScreen } from './hard-screen-kinds.js';

export interface HardTake {
  readonly frames: readonly HardFrame[];
  /** Outline of the green toy a frame; null without one. */
  readonly toy: readonly (readonly (readonly [number, number])[])[] | null;
}

type Wave = ReturnType<typeof waves>;

/** The screen's light by pixel, planar RGB, with what hangs or stands beside it; `tilt`: how a shadow's edge leans. */
function clothOf(
  kind: HardScreen,
  w: number,
  h: number,
  tilt: number,
  { folds, folds2, crease, crease2 }: Readonly<Record<'folds' | 'folds2' | 'crease' | 'crease2', Wave>>,
): Float32Array {
  const n = w * h;
  const inset = kind.ends ?? 0;
  const cloth = new Float32Array(3 * n);
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const i = y * w + x;
      const u = x / w;
      const v = y / h;
      // Creases: light on one side, dark on the other of a ridge.
      const ridge = (c: number): number => Math.sign(c) * Math.exp(-Math.abs(c) * 6);
      let light =
        (1 - (kind.fallOff ?? 0) * Math.min(1, 1.3 * Math.hypot(u - 0.35, v - 0.4))) *
        (1 + (kind.folds ?? 0) * (0.6 * folds(x, y) + 0.4 * folds2(x, y))) *
        (1 + (kind.creases ?? 0) * (0.5 * ridge(crease(x, y)) + 0.35 * ridge(crease2(x, y))));
      if (kind.half !== undefined) {
        const s = Math.min(1, Math.max(0, ((u - 0.5 - 0.3 * tilt * (v - 0.5)) * w) / 6 + 0.5));
        light *= 1 - (1 - kind.half) * s;
      }
      light = Math.max(0.08, light);
      const mark =
        kind.markers !== undefined &&
        (x + 40) % 190 < 34 &&
        (y + 30) % 150 < 34 &&
        (Math.abs(((x + 40) % 190) - 17) < 4 || Math.abs(((y + 30) % 150) - 17) < 4);
      const room = inset > 0 && (u < inset || u > 1 - inset || v > 1 - inset || v < inset * 0.6);
      for (let p = 0; p < 3; p++)
        cloth[p * n + i] = room
          ? [0.2, 0.17, 0.14][p]! * (1 + 0.5 * folds2(2 * x, y))
          : light *
            (mark ? (kind.markers === 'white' ? 0.6 : kind.screen[p]! * [1.2, 0.55, 0.8][p]!) : kind.screen[p]!);
    }
  return cloth;
}

/** A peg whose foot stands at (px, py), and its shadow on the screen. */
function addPeg(
  cloth: Float32Array,
  kind: HardScreen,
  w: number,
  h: number,
  px: number,
  py: number,
  size: number,
): void {
  const n = w * h;
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const i = y * w + x;
      const rod = Math.min(1, Math.max(0, 3 - Math.abs(x - px))) * (y < py && y > py - 0.7 * size ? 1 : 0);
      const t = (x - px) / (0.9 * size);
      const lies = t > 0 && t < 1 ? Math.min(1, Math.max(0, 2.5 - Math.abs(y - py - 0.12 * size * t))) : 0;
      for (let p = 0; p < 3; p++)
        cloth[p * n + i] = cloth[p * n + i]! * (1 - (1 - (kind.cast ?? 0.3)) * lies) * (1 - rod) + rod * 0.35;
    }
}

/** The performer's coverage and its colours times that, without and with what the screen spills on it; planar. */
interface SpiltBody {
  readonly cover: Float32Array;
  readonly premultiplied: Float32Array;
  readonly spilt: Float32Array;
}

function spiltBody(layer: ReturnType<typeof performer>, kind: HardScreen, n: number): SpiltBody {
  const premultiplied = new Float32Array(3 * n);
  const spilt = new Float32Array(3 * n);
  const cover = layer.alpha;
  for (let i = 0; i < n; i++)
    for (let p = 0; p < 3; p++) {
      const f = layer.rgb[p * n + i]!;
      premultiplied[p * n + i] = cover[i]! * f;
      spilt[p * n + i] = cover[i]! * (f + kind.spill * (0.3 + 0.7 * layer.rim[i]!) * kind.screen[p]! * (0.4 + f));
    }
  return { cover, premultiplied, spilt };
}

interface Moment {
  readonly w: number;
  readonly h: number;
  /** Where its shadow starts, px, and how far all is moved; smear along x, px, in so many steps. */
  readonly at: readonly [number, number];
  readonly moved: readonly [number, number];
  readonly smear: number;
  readonly subs: number;
  readonly light: readonly number[];
  /** How far out of focus, px. */
  readonly soft: number;
}

/** One frame before sharpening and noise, coded, with its truth. */
function drawn(
  kind: HardScreen,
  { cover, premultiplied, spilt }: SpiltBody,
  cloth: Float32Array,
  { w, h, at, moved: [dx, dy], smear, subs, light, soft }: Moment,
): HardFrame & { readonly coded: Picture } {
  const n = w * h;
  const alpha = new Float32Array(n);
  const own = new Float32Array(3 * n);
  const seen = new Float32Array(3 * n);
  const shade = new Float32Array(n);
  for (let s = 0; s < subs; s++) {
    const more = subs === 1 ? 0 : smear * (s / (subs - 1) - 0.5);
    addShifted(alpha, cover, w, h, 1, dx + more, dy, 1 / subs);
    addShifted(own, premultiplied, w, h, 3, dx + more, dy, 1 / subs);
    addShifted(seen, spilt, w, h, 3, dx + more, dy, 1 / subs);
  }
  if (kind.cast !== undefined) castShadow(shade, alpha, w, h, at[0] + dx, at[1] + dy, kind.castEdge ?? 8);
  const coded = createPicture(w, h, 3);
  const colour = new Float32Array(3 * n);
  if (soft > 0.1)
    for (const planes of [alpha, own, seen])
      for (let o = 0; o < planes.length; o += n) planes.set(gaussianPlane(planes.slice(o, o + n), w, h, soft), o);
  const behind = soft > 0.1 ? grown(cloth, w, h, 1 + 0.006 * soft) : cloth;
  if (soft > 0.1) for (let o = 0; o < 3 * n; o += n) behind.set(gaussianPlane(behind.slice(o, o + n), w, h, soft), o);
  for (let p = 0; p < 3; p++)
    for (let i = 0; i < n; i++) {
      const a = alpha[i]!;
      const back = behind[p * n + i]! * (1 - (1 - (kind.cast ?? 1)) * shade[i]!);
      coded.data[p * n + i] = bt709Encode(Math.max(0, light[p]! * (seen[p * n + i]! + (1 - a) * back)));
      colour[p * n + i] = a > 0 ? bt709Encode(Math.min(1, (light[p]! * own[p * n + i]!) / a)) : 0;
    }
  return { coded, alpha, colour };
}

/** Writes the take as H.264 and gives its truth. */
export async function hardTake(
  path: string,
  seed: number,
  kind: HardScreen,
  w: number,
  h: number,
  count: number,
): Promise<HardTake> {
  const random = new RandomStream(seed, 23);
  const n = w * h;
  const size = 0.24 * h * (1 + 0.2 * (random.uniform() - 0.5));
  const inset = kind.ends ?? 0;
  const floor = h * (1 - inset) - 3;
  const cx = w * (0.4 + 0.2 * random.uniform());
  const cy = Math.min(h * 0.6, inset > 0 ? floor - 0.79 * size : h * 0.62);
  const layer = performer(random, w, h, cx, cy, size, kind.toy === true, kind.screen, kind.coat);
  if (kind.holder === true) addHolder(layer, seed, w, h, cx, cy, size);
  const folds = waves(random, 0.22 * w);
  const folds2 = waves(random, 0.07 * w);
  const crease = waves(random, 0.16 * w);
  const crease2 = waves(random, 0.1 * w);
  const tilt = random.uniform() - 0.5;
  const cloth = clothOf(kind, w, h, tilt, { folds, folds2, crease, crease2 });
  if (kind.peg === true) addPeg(cloth, kind, w, h, cx + (cx < w / 2 ? 1.75 : -1.75) * size, cy + 0.75 * size, size);
  const writer = await VideoWriter.open(path, {
    widthPx: w,
    heightPx: h,
    rate: rate(24),
    codec: 'h264',
    crf: kind.crf,
  });
  const frames: HardFrame[] = [];
  const toys: (readonly [number, number])[][] = [];
  const speed = kind.speed ?? 3;
  const way = random.uniform() < 0.5 ? 1 : -1;
  const subs = (kind.smear ?? 0) > 0 ? 12 : 1;
  const body = spiltBody(layer, kind, n);
  for (let f = 0; f < count; f++) {
    const dx = way * speed * (f - (count - 1) / 2);
    const dy = 1.1 * Math.sin(1.7 * f);
    const { coded, alpha, colour } = drawn(kind, body, cloth, {
      w,
      h,
      at: [cx, cy + 0.72 * size],
      moved: [dx, dy],
      smear: subs === 1 ? 0 : way * speed * kind.smear!,
      subs,
      light: lightOf(kind, f, count),
      soft: (kind.breathe ?? 0) * (0.5 - 0.5 * Math.cos((2 * Math.PI * f) / count)),
    });
    if (kind.sharp !== undefined) sharpen(coded.data, w, h, kind.sharp);
    for (let i = 0; i < 3 * n; i++)
      coded.data[i] = Math.min(1, Math.max(0, coded.data[i]! + kind.noise * random.normal()));
    await writer.writeCoded(coded);
    frames.push({ alpha, colour });
    const [tx, ty, tr] = layer.toyAt;
    toys.push(
      Array.from(
        { length: 24 },
        (_, k) => [tx + dx + 1.05 * tr * Math.cos(k * 0.2618), ty + dy + 1.05 * tr * Math.sin(k * 0.2618)] as const,
      ),
    );
  }
  await writer.close();
  return { frames, toy: kind.toy === true ? toys : null };
}

/** Unsharp over 3 × 3 in every channel. */
function sharpen(data: Float32Array, w: number, h: number, amount: number): void {
  const n = w * h;
  const src = data.slice();
  for (let p = 0; p < 3; p++)
    for (let y = 1; y < h - 1; y++)
      for (let x = 1; x < w - 1; x++) {
        const i = p * n + y * w + x;
        data[i] = src[i]! + amount * (src[i]! - 0.25 * (src[i - 1]! + src[i + 1]! + src[i - w]! + src[i + w]!));
      }
}
