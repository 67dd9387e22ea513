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
import { normalsOfMatte } from '../src/join/relight.js';
import type { InspectionMatterName, InspectionStep } from '../src/inspect/types.js';
import { scaledAbout, spoilMore, withoutContact, type SpoilState } from './spoil-more.js';

/**
 * Every fault: the matter that has to be named, the step, its size where none is told, and the sizes looked
 * at from slight to gross, with their unit. `read`: what tells it, single pictures or movement. `more`:
 * plate or matte are changed along with the join.
 */
interface SpoilKind {
  readonly matter: InspectionMatterName;
  readonly step: InspectionStep;
  readonly usual: number;
  readonly sizes: readonly number[];
  readonly unit: string;
  readonly read: 'close' | 'moving';
  readonly more?: true;
}
export const SPOIL_KINDS = {
  slip: { matter: 'slip', step: 'ride', usual: 1, sizes: [0.25, 0.5, 1, 2], unit: 'px rms', read: 'moving' },
  spill: {
    matter: 'spill',
    step: 'peel',
    usual: 0.35,
    sizes: [0.05, 0.1, 0.25, 0.5],
    unit: 'of brightness in green',
    read: 'close',
  },
  'dark edges': {
    matter: 'edgeLightness',
    step: 'peel',
    usual: 0.6,
    sizes: [0.1, 0.2, 0.4, 0.6],
    unit: "of the outline's light taken",
    read: 'close',
  },
  'bright edges': {
    matter: 'edgeLightness',
    step: 'peel',
    usual: 0.8,
    sizes: [0.1, 0.2, 0.4, 0.8],
    unit: "of the outline's light added",
    read: 'close',
  },
  'no grain': { matter: 'grain', step: 'air', usual: 1.4, sizes: [0.5, 0.7, 1.4], unit: 'px of blur', read: 'close' },
  'doubled grain': {
    matter: 'grain',
    step: 'air',
    usual: 0.024,
    sizes: [0.006, 0.012, 0.024, 0.04],
    unit: 'coded sd added',
    read: 'close',
  },
  'shadow mirrored': { matter: 'shadow', step: 'ground', usual: 1, sizes: [1], unit: '', read: 'close' },
  'no shadow': { matter: 'shadow', step: 'ground', usual: 1, sizes: [1], unit: '', read: 'close' },
  'shadow faint': {
    matter: 'shadow',
    step: 'ground',
    usual: 0.75,
    sizes: [0.25, 0.5, 0.75],
    unit: 'of the shadow taken',
    read: 'close',
  },
  'shadow heavy': {
    matter: 'shadow',
    step: 'ground',
    usual: 2,
    sizes: [0.5, 1, 2],
    unit: 'stops darker',
    read: 'close',
  },
  'black lifted': {
    matter: 'blackLevel',
    step: 'light',
    usual: 0.1,
    sizes: [0.02, 0.05, 0.1, 0.2],
    unit: 'linear',
    read: 'close',
  },
  'haze missing': {
    matter: 'blackLevel',
    step: 'air',
    usual: 0.3,
    sizes: [0.05, 0.1, 0.2, 0.4],
    unit: 'of haze over the plate alone',
    read: 'close',
    more: true,
  },
  'white lifted': {
    matter: 'whiteLevel',
    step: 'light',
    usual: 1.38,
    sizes: [0.25, 0.5, 1, 1.38],
    unit: 'stops',
    read: 'close',
  },
  'frame doubled': { matter: 'cadence', step: 'pace', usual: 1, sizes: [1], unit: '', read: 'moving' },
  chatter: {
    matter: 'chatter',
    step: 'peel',
    usual: 0.6,
    sizes: [0.1, 0.2, 0.4, 0.6],
    unit: 'of thin cover lost on every other frame',
    read: 'moving',
  },
  'patchy chatter': {
    matter: 'chatter',
    step: 'peel',
    usual: 0.33,
    sizes: [0.1, 0.2, 0.33, 0.5],
    unit: 'sd of cover',
    read: 'moving',
  },
  'matte chatter': {
    matter: 'chatter',
    step: 'peel',
    usual: 0.2,
    sizes: [0.05, 0.1, 0.2, 0.4],
    unit: 'sd of alpha, in matte and picture',
    read: 'moving',
    more: true,
  },
  blur: { matter: 'blur', step: 'air', usual: 3, sizes: [0.7, 1, 2, 3], unit: 'px', read: 'close' },
  sharpened: {
    matter: 'blur',
    step: 'air',
    usual: 3,
    sizes: [0.5, 1, 2, 3],
    unit: 'times the difference from a blur of 1 px',
    read: 'close',
  },
  'blur missing': {
    matter: 'blur',
    step: 'air',
    usual: 2,
    sizes: [0.7, 1, 2, 3],
    unit: 'px on the plate alone',
    read: 'close',
    more: true,
  },
  'erase seam': {
    matter: 'seam',
    step: 'erase',
    usual: 0.04,
    sizes: [0.01, 0.02, 0.04, 0.08],
    unit: 'of the coded range',
    read: 'close',
    more: true,
  },
  cast: {
    matter: 'colour',
    step: 'light',
    usual: 1,
    sizes: [0.15, 0.3, 0.6, 1],
    unit: 'of a gross cast',
    read: 'close',
  },
  'light turned': {
    matter: 'light',
    step: 'light',
    usual: 180,
    sizes: [60, 90, 120, 180],
    unit: '° in the picture',
    read: 'close',
  },
  darker: { matter: 'exposure', step: 'light', usual: 1, sizes: [0.25, 0.5, 1], unit: 'stops', read: 'close' },
  brighter: { matter: 'exposure', step: 'light', usual: 1, sizes: [0.25, 0.5, 1], unit: 'stops', read: 'close' },
  'white balance': {
    matter: 'colour',
    step: 'light',
    usual: 1000,
    sizes: [250, 500, 1000, 2000],
    unit: 'K',
    read: 'close',
  },
  flicker: {
    matter: 'flicker',
    step: 'light',
    usual: 0.2,
    sizes: [0.05, 0.1, 0.2, 0.4],
    unit: 'stops',
    read: 'moving',
  },
  scale: {
    matter: 'size',
    step: 'ride',
    usual: 0.1,
    sizes: [0.03, 0.05, 0.1, 0.2],
    unit: 'larger',
    read: 'close',
    more: true,
  },
  'hard edge': {
    matter: 'edgeHardness',
    step: 'peel',
    usual: 1,
    sizes: [0.5, 0.75, 1],
    unit: 'of the soft rim cut',
    read: 'close',
  },
  halo: { matter: 'edgeHardness', step: 'peel', usual: 0.2, sizes: [0.05, 0.1, 0.2], unit: 'linear', read: 'close' },
  'see-through': {
    matter: 'solid',
    step: 'peel',
    usual: 0.3,
    sizes: [0.1, 0.2, 0.3, 0.5],
    unit: 'of the plate',
    read: 'close',
  },
  holes: { matter: 'solid', step: 'peel', usual: 0.05, sizes: [0.01, 0.02, 0.05], unit: 'of the body', read: 'close' },
  'no contact': { matter: 'contact', step: 'ground', usual: 1, sizes: [0.5, 1], unit: 'of it', read: 'close' },
  'frame dropped': { matter: 'cadence', step: 'pace', usual: 1, sizes: [1], unit: '', read: 'moving' },
  'whole darker': {
    matter: 'outside',
    step: 'render',
    usual: 0.25,
    sizes: [0.05, 0.1, 0.25, 0.5],
    unit: 'stops',
    read: 'close',
  },
  'wrong range': { matter: 'outside', step: 'render', usual: 1, sizes: [1], unit: '', read: 'close' },
  'wrong matrix': { matter: 'outside', step: 'render', usual: 1, sizes: [1], unit: '', read: 'close' },
  interlaced: { matter: 'comb', step: 'render', usual: 1, sizes: [1], unit: '', read: 'moving' },
} as const satisfies Readonly<Record<string, SpoilKind>>;
export type Spoil = keyof typeof SPOIL_KINDS;
export const SPOILS = Object.keys(SPOIL_KINDS) as Spoil[];

/** Towards the key on a frame, unit vector in camera coordinates; null where it is not known. */
type LightAt = (frame: number) => readonly [number, number, number] | null;
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
          : null;
    if (around !== null) return { join: surrounded(j, b, m, around), plate: around, matte: m };
    if (this.spoil === 'matte chatter') {
      const k = this.patches(m.length, j.width);
      const matte = m.map((a, i) => (a > 0.004 && a < 0.98 ? Math.min(1, Math.max(0, a * k[i]!)) : a));
      return { join: this.picture(j, b, m, at, (i, a) => (a > 0.004 ? matte[i]! / a : 1)), plate: b, matte };
    }
    if (this.spoil === 'scale') return scaledAbout(j, b, m, 1 + this.size);
    return { join: this.picture(j, b, m, at), plate: b, matte: m };
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

/**
 * The shadow beside the performer weighed anew: `left` of its darkness kept, or `stops` more of it where that is null.
 */
function weighShadow(
  j: Picture,
  b: Picture,
  m: Float32Array,
  d: Float32Array,
  W: number,
  H: number,
  left: number | null,
  stops: number,
): void {
  const N = W * H;
  const luma = (p: Picture): Float32Array =>
    gaussianPlane(
      Float32Array.from(
        { length: N },
        (_, i) => 0.2126 * p.data[i]! + 0.7152 * p.data[N + i]! + 0.0722 * p.data[2 * N + i]!,
      ),
      W,
      H,
      1.2,
    );
  const lj = luma(j);
  const lb = luma(b);
  for (let i = 0; i < N; i++) {
    const ratio = lj[i]! / Math.max(0.03, lb[i]!);
    if (m[i]! > 0.02 || ratio >= 0.9) continue;
    for (let c = 0; c < 3; c++) {
      const now = bt709Decode(d[c * N + i]!);
      const full = bt709Decode(b.data[c * N + i]!);
      d[c * N + i] = bt709Encode(
        left === null
          ? now * 2 ** (-stops * Math.min(1, (0.9 - ratio) / 0.2))
          : full * (Math.max(1e-4, now) / Math.max(1e-4, full)) ** left,
      );
    }
  }
}

/**
 * What darkens the ground beside the performer is taken away, and laid on the other side of its middle unless `gone`.
 */
function mirrorShadow(
  j: Picture,
  b: Picture,
  m: Float32Array,
  d: Float32Array,
  W: number,
  H: number,
  gone: boolean,
): void {
  const N = W * H;
  let sx = 0;
  let s = 0;
  for (let i = 0; i < N; i++) {
    sx += m[i]! * (i % W);
    s += m[i]!;
  }
  const middle = Math.round(sx / Math.max(1, s));
  const luma = (p: Picture): Float32Array =>
    gaussianPlane(
      Float32Array.from(
        { length: N },
        (_, i) => 0.2126 * p.data[i]! + 0.7152 * p.data[N + i]! + 0.0722 * p.data[2 * N + i]!,
      ),
      W,
      H,
      1.2,
    );
  const lj = luma(j);
  const lb = luma(b);
  const ratio = Float32Array.from(lj, (v, i) => Math.min(1, v / Math.max(0.03, lb[i]!)));
  for (let y = 0; y < H; y++) {
    for (let x = 0; x < W; x++) {
      const i = y * W + x;
      const xm = 2 * middle - x;
      if (m[i]! > 0.02) continue;
      const here = ratio[i]! < 0.9;
      const there = !gone && xm >= 0 && xm < W && m[y * W + xm]! < 0.02 && ratio[y * W + xm]! < 0.9;
      for (let c = 0; c < 3; c++) {
        if (here) d[c * N + i] = b.data[c * N + i]!;
        if (there) d[c * N + i] = d[c * N + i]! * ratio[y * W + xm]!;
      }
    }
  }
}

/**
 * The shading of a rounded body under the key is taken off and laid on again with the key turned about the view
 * (Lambert's law on the normals of the filled matte, with a fill of .35).
 */
function turnLight(
  m: Float32Array,
  d: Float32Array,
  W: number,
  H: number,
  light: readonly [number, number, number],
  deg: number,
): void {
  const N = W * H;
  const normals = normalsOfMatte(m, W, H);
  const fill = 0.35;
  const co = Math.cos((deg * Math.PI) / 180);
  const si = Math.sin((deg * Math.PI) / 180);
  const turned = [co * light[0] - si * light[1], si * light[0] + co * light[1], light[2]];
  const lit = (i: number, l: readonly number[]): number =>
    fill + Math.max(0, normals[i]! * l[0]! + normals[N + i]! * l[1]! + normals[2 * N + i]! * l[2]!);
  for (let i = 0; i < N; i++) {
    if (m[i]! < 0.01 || normals[2 * N + i] === 0) continue;
    const k = 1 + m[i]! * (Math.min(3, lit(i, turned) / lit(i, light)) - 1);
    for (let c = 0; c < 3; c++) d[c * N + i] = bt709Encode(k * bt709Decode(d[c * N + i]!));
  }
}

/** Whether a pixel lies where something is taken to have been erased beside the performer: an upright ellipse. */
export function erasedAt(x: number, y: number, W: number, H: number): boolean {
  return ((x - 0.2 * W) / (0.09 * W)) ** 2 + ((y - 0.5 * H) / (0.25 * H)) ** 2 < 1;
}

function brighterWithin(p: Picture, by: number, matte: Float32Array | null): Picture {
  const { width: W, height: H } = p;
  const N = W * H;
  const out = createPicture(W, H, 3);
  out.data.set(p.data.subarray(0, 3 * N));
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++)
      if (erasedAt(x, y, W, H))
        for (let c = 0, i = y * W + x; c < 3; c++)
          out.data[c * N + i] = p.data[c * N + i]! + by * (1 - (matte?.[i] ?? 0));
  return out;
}

/** Koschmieder's haze of one depth over a plate: `amount` of a pale airlight. */
function hazed(b: Picture, amount: number): Picture {
  const out = createPicture(b.width, b.height, 3);
  const N = b.width * b.height;
  for (let c = 0; c < 3; c++)
    for (let i = 0; i < N; i++)
      out.data[c * N + i] = bt709Encode(
        (1 - amount) * bt709Decode(b.data[c * N + i]!) + amount * [0.42, 0.45, 0.5][c]!,
      );
  return out;
}

function softened(b: Picture, px: number): Picture {
  const out = createPicture(b.width, b.height, 3);
  const N = b.width * b.height;
  for (let c = 0; c < 3; c++) out.data.set(gaussianPlane(plane(b, c), b.width, b.height, px), c * N);
  return out;
}

/** The join with its surroundings exchanged for `around`, shadows kept as a share of the light. */
function surrounded(j: Picture, b: Picture, m: Float32Array, around: Picture): Picture {
  const out = createPicture(j.width, j.height, 3);
  const N = j.width * j.height;
  for (let c = 0; c < 3; c++)
    for (let i = c * N, q = 0; q < N; i++, q++) {
      const seen = bt709Decode(j.data[i]!);
      const old = bt709Decode(b.data[i]!);
      const now = bt709Decode(around.data[i]!);
      const shade = m[q]! < 0.02 ? Math.min(1, seen / Math.max(1e-3, old)) : 1;
      out.data[i] = bt709Encode(Math.max(0, seen + (1 - m[q]!) * shade * (now - old)));
    }
  return out;
}
