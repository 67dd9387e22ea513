/**
 * Joins spoiled on purpose: a true join (picture, performer's matte, plate without the performer)
 * with one fault of known size. Works on display-coded frames; what is mixed is mixed in linear
 * light. Sides, phases and places come from the seed.
 */
import { RandomStream } from '../src/core/random.js';
import { bt709Decode, bt709Encode } from '../src/colour/transfer.js';
import { gaussianPlane } from '../src/image/gaussian.js';
import { createPicture, plane, type Picture } from '../src/image/picture.js';
import { sampleBilinear } from '../src/image/sampling.js';
import { toCodedRgb } from '../src/media/convert.js';
import { VideoReader } from '../src/media/video-reader.js';
import { VideoWriter } from '../src/media/video-writer.js';
import { scaledAbout, spoilMore, withoutContact, type SpoilState } from './spoil-more.js';
import {
  type LightAt,
  brighterWithin,
  hazed,
  lit,
  mirrorShadow,
  softened,
  surrounded,
  turnLight,
  weighShadow,
} from './spoil-light.js';
import { SPOIL_KINDS, type Spoil } from './spoil-kinds.js';

export interface TrueJoin {
  readonly plate: string;
  readonly join: string;
  readonly matte: string;
  readonly light?: LightAt;
}

/** A plane seen from (x + dx, y + dy). */
function moved(src: Float32Array, w: number, h: number, dx: number, dy: number): Float32Array {
  if (dx === 0 && dy === 0) return src;
  const out = new Float32Array(w * h);
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) out[y * w + x] = sampleBilinear(src, w, h, x + 0.5 + dx, y + 0.5 + dy);
  return out;
}

export interface SpoiledFrame {
  readonly join: Picture;
  readonly plate: Picture;
  readonly matte: Float32Array;
}

/** Spoils the frames of a true join one after the other. */
export class Spoiler {
  /** The frame that is doubled, where one is. */
  readonly at: number;
  private readonly spoil: Spoil;
  private readonly size: number;
  private readonly stream: RandomStream;
  private readonly phase: number;
  private readonly side: number;
  private readonly light: LightAt;
  private readonly more: SpoilState;
  private readonly frames: number;
  private last: Picture | null = null;
  private n = 0;

  constructor(spoil: Spoil, size: number, seed: number, frames: number, light: LightAt = () => null) {
    this.spoil = spoil;
    this.size = size;
    this.stream = new RandomStream(seed);
    this.phase = this.stream.uniform() * 6.28;
    this.side = this.stream.uniform() < 0.5 ? -1 : 1;
    this.at = 3 + Math.floor(this.stream.uniform() * Math.max(1, frames - 6));
    this.light = light;
    this.frames = frames;
    this.more = { side: this.side, phase: this.phase, stream: this.stream, last: null };
  }

  /**
   * The next frame, spoiled: true join, plate, matte (display-coded; the matte 0..1).
   * `at`: its number where frames are left out.
   */
  next(j: Picture, b: Picture, m: Float32Array, at = this.n): SpoiledFrame {
    this.n = at + 1;
    if (this.spoil === 'erase seam')
      return {
        join: brighterWithin(j, this.size * this.side, m),
        plate: brighterWithin(b, this.size * this.side, null),
        matte: m,
      };
    const around =
      this.spoil === 'haze missing'
        ? hazed(b, this.size)
        : this.spoil === 'blur missing'
          ? softened(b, this.size)
          : this.filmLight(b, at);
    if (around !== null) return { join: surrounded(j, b, m, around), plate: around, matte: m };
    if (this.spoil === 'matte chatter') {
      const k = this.patches(m.length, j.width);
      const matte = m.map((a, i) => (a > 0.004 && a < 0.98 ? Math.min(1, Math.max(0, a * k[i]!)) : a));
      return { join: this.picture(j, b, m, at, (i, a) => (a > 0.004 ? matte[i]! / a : 1)), plate: b, matte };
    }
    if (this.spoil === 'scale') return scaledAbout(j, b, m, 1 + this.size);
    return { join: this.picture(j, b, m, at), plate: b, matte: m };
  }

  /** The plate under the film's own light where that goes its own way; else null. */
  private filmLight(b: Picture, at: number): Picture | null {
    if (this.spoil === 'fade ignored') return lit(b, (-this.size * at) / Math.max(1, this.frames - 1));
    return this.spoil === 'flash ignored' ? lit(b, at >= this.at && at < this.at + 3 ? this.size : 0) : null;
  }

  /** Factors of cover about 1 in patches some 3 px wide, new on each call. */
  private patches(n: number, W: number): Float32Array {
    const noise = gaussianPlane(
      Float32Array.from({ length: n }, () => this.stream.normal()),
      W,
      n / W,
      3,
    );
    return Float32Array.from(noise, (v) => Math.min(1.6, Math.max(0, 1 + this.size * v * 6 * Math.sqrt(Math.PI))));
  }

  private picture(
    j: Picture,
    b: Picture,
    m: Float32Array,
    n: number,
    cover: (i: number, a: number) => number = () => 1,
  ): Picture {
    const { spoil, size, side } = this;
    const W = j.width;
    const H = j.height;
    const N = W * H;
    const now = createPicture(W, H, 3);
    now.data.set(j.data.subarray(0, 3 * N));
    const d = now.data;
    const layer = (c: number, value: (i: number, f: number, back: number, a: number) => number): void => {
      for (let i = 0; i < N; i++)
        if (m[i]! > 0.004)
          d[c * N + i] = bt709Encode(
            Math.max(0, value(i, bt709Decode(j.data[c * N + i]!), bt709Decode(b.data[c * N + i]!), m[i]!)),
          );
    };
    const each = (value: (c: number, i: number, f: number, back: number, a: number) => number): void => {
      for (let c = 0; c < 3; c++) layer(c, (i, f, back, a) => value(c, i, f, back, a));
    };
    switch (spoil) {
      case 'slip': {
        const dx = Math.SQRT2 * size * Math.sin(1.9 * n + this.phase);
        const ma = moved(m, W, H, dx, 0);
        for (let c = 0; c < 3; c++) {
          const p = moved(plane(j, c), W, H, dx, 0);
          const q = plane(b, c);
          for (let i = 0; i < N; i++)
            if (Math.max(ma[i]!, m[i]!) >= 0.004)
              d[c * N + i] = bt709Encode(Math.max(0, ma[i]! * bt709Decode(p[i]!) + (1 - ma[i]!) * bt709Decode(q[i]!)));
        }
        break;
      }
      case 'chatter':
        if (n % 2 === 0)
          each((_c, _i, f, back, a) => {
            if (a >= 0.98) return f;
            const k = Math.min(1, (1 - size) / Math.max(0.05, a));
            return k * f + (1 - k) * back;
          });
        break;
      case 'patchy chatter': {
        const k = this.patches(N, W);
        each((_c, i, f, back, a) => (a < 0.98 ? back + k[i]! * (f - back) : f));
        break;
      }
      case 'matte chatter':
        each((_c, i, f, back, a) => (a < 0.98 ? back + cover(i, a) * (f - back) : f));
        break;
      case 'light turned': {
        const l = this.light(n);
        if (l !== null) turnLight(m, d, W, H, l, size);
        break;
      }
      case 'spill':
        layer(
          1,
          (i, f, _b, a) =>
            f + a * size * (0.2126 * bt709Decode(j.data[i]!) + 0.7152 * f + 0.0722 * bt709Decode(j.data[2 * N + i]!)),
        );
        break;
      case 'dark edges':
        each((_c, _i, f, back, a) => (a < 0.98 ? f - size * Math.max(0, f - (1 - a) * back) : f));
        break;
      case 'bright edges':
        each((_c, _i, f, back, a) => (a < 0.98 ? f + size * Math.max(0, f - (1 - a) * back) : f));
        break;
      case 'black lifted':
        each((_c, _i, f, _b, a) => f + a * size * (1 - f));
        break;
      case 'white lifted':
        each((_c, _i, f, _b, a) => f * (1 + (2 ** size - 1) * a));
        break;
      case 'cast':
        each((c, _i, f, _b, a) => f * (1 + a * size * [side > 0 ? 0.9 : -0.55, 0, side > 0 ? -0.6 : 1.2][c]!));
        break;
      case 'no grain':
      case 'blur':
      case 'doubled grain':
        for (let c = 0; c < 3; c++) {
          // White noise of sd 1 through a Gaussian of s px comes out with sd 1 / (2 √π s).
          const p = plane(j, c);
          const other =
            spoil === 'doubled grain'
              ? gaussianPlane(
                  Float32Array.from({ length: N }, () => this.stream.normal()),
                  W,
                  H,
                  0.7,
                )
              : gaussianPlane(p, W, H, size);
          for (let i = 0; i < N; i++)
            if (m[i]! > 0.5)
              d[c * N + i] =
                spoil === 'doubled grain' ? p[i]! + size * 2 * Math.sqrt(Math.PI) * 0.7 * other[i]! : other[i]!;
        }
        break;
      case 'shadow mirrored':
      case 'no shadow':
        mirrorShadow(j, b, m, d, W, H, spoil === 'no shadow');
        break;
      case 'shadow faint':
      case 'shadow heavy':
        weighShadow(j, b, m, d, W, H, spoil === 'shadow faint' ? 1 - size : null, size);
        break;
      case 'sharpened':
        for (let c = 0; c < 3; c++) {
          const p = plane(j, c);
          const soft = gaussianPlane(p, W, H, 1);
          for (let i = 0; i < N; i++)
            if (m[i]! > 0.5) d[c * N + i] = Math.min(1, Math.max(0, p[i]! + size * (p[i]! - soft[i]!)));
        }
        break;
      case 'no contact':
        return withoutContact(j, b, m, size);
      case 'darker':
      case 'brighter':
      case 'white balance':
      case 'flicker':
      case 'hard edge':
      case 'halo':
      case 'see-through':
      case 'holes':
      case 'whole darker':
      case 'wrong range':
      case 'wrong matrix':
      case 'interlaced':
        return spoilMore(spoil, size, this.more, j, b, m, n);
      case 'frame doubled':
      case 'frame dropped':
      case 'fade ignored':
      case 'flash ignored':
      case 'scale':
      case 'erase seam':
      case 'haze missing':
      case 'blur missing':
        break;
    }
    const twice = spoil === 'frame doubled' && n === this.at && this.last !== null;
    const out: Picture = twice ? this.last! : now;
    this.last = now;
    return out;
  }
}

/**
 * Writes the spoiled join to `file` (FFV1, 8 bit); not for faults that change plate or matte too.
 * Returns the frame at fault where it is a single one.
 */
export async function writeSpoiled(
  from: TrueJoin,
  spoil: Spoil,
  seed: number,
  file: string,
  frames: number,
): Promise<number | null> {
  const [join, plate, matte] = (await Promise.all(
    [from.join, from.plate, from.matte].map((f) => VideoReader.open(f)),
  )) as [VideoReader, VideoReader, VideoReader];
  const { widthPx, heightPx, rate } = join.info;
  const out = await VideoWriter.open(file, { widthPx, heightPx, rate, codec: 'ffv1', bits: 8 });
  const spoiler = new Spoiler(spoil, SPOIL_KINDS[spoil].usual, seed, frames, from.light);
  const plates = plate.frames(0, frames);
  const mattes = matte.frames(0, frames);
  let k = 0;
  for await (const jf of join.frames(0, frames + 1)) {
    // The rest moves up by one.
    if (spoil === 'frame dropped' ? k++ === spoiler.at : k++ === frames) continue;
    const pf = await plates.next();
    const mf = await mattes.next();
    if (pf.done || mf.done) break;
    await out.writeCoded(spoiler.next(toCodedRgb(jf), toCodedRgb(pf.value), plane(toCodedRgb(mf.value), 0)).join);
  }
  await Promise.all([out.close(), join.close(), plate.close(), matte.close()]);
  return spoil === 'frame doubled' ? spoiler.at : null;
}
