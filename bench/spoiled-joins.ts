/**
 * Joins spoiled on purpose: a true join (picture, performer's matte, plate without the performer)
 * with one fault of known size. Works on display-coded frames; what is mixed is mixed in linear
 * light. Sides, phases and places come from the seed.
 */
import { RandomStream } from '../src/core/random.js';
import { gaussianPlane } from '../src/image/gaussian.js';
import { plane, type Picture } from '../src/image/picture.js';
import { toCodedRgb } from '../src/media/convert.js';
import { VideoReader } from '../src/media/video-reader.js';
import { VideoWriter } from '../src/media/video-writer.js';
import { isMoreSpoil, scaledAbout, spoilMore, withoutContact, type SpoilState } from './spoil-more.js';
import { LAYER_SPOILS, spoilWork } from './spoil-layers.js';
import { type LightAt, brighterWithin, hazed, lit, softened, surrounded } from './spoil-light.js';
import { SPOIL_KINDS, type Spoil } from './spoil-kinds.js';

export interface TrueJoin {
  readonly plate: string;
  readonly join: string;
  readonly matte: string;
  readonly light?: LightAt;
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
    const { spoil, size, side, phase, stream, light } = this;
    if (spoil === 'no contact') return withoutContact(j, b, m, size);
    if (isMoreSpoil(spoil)) return spoilMore(spoil, size, this.more, j, b, m, n);
    const work = spoilWork(j, b, m);
    const patches = (): Float32Array => this.patches(m.length, j.width);
    LAYER_SPOILS[spoil]?.(work, { size, side, phase, stream, n, light, patches, cover });
    const twice = spoil === 'frame doubled' && n === this.at && this.last !== null;
    const out: Picture = twice ? this.last! : work.now;
    this.last = work.now;
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
