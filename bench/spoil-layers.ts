/**
 * Faults of bench/spoiled-joins.ts that change the performer's layer of one frame, a kind a function. A frame is
 * display-coded; what is mixed is mixed in linear light.
 */
import type { RandomStream } from '../src/core/random.js';
import { bt709Decode, bt709Encode } from '../src/colour/transfer.js';
import { gaussianPlane } from '../src/image/gaussian.js';
import { createPicture, plane, type Picture } from '../src/image/picture.js';
import { sampleBilinear } from '../src/image/sampling.js';
import type { Spoil } from './spoil-kinds.js';
import { type LightAt, mirrorShadow, turnLight, weighShadow } from './spoil-light.js';
import type { MoreSpoil } from './spoil-more.js';

/** A frame that is being spoiled. */
export interface SpoilWork {
  /** True join, plate and matte (height × width, 0..1). */
  readonly j: Picture;
  readonly b: Picture;
  readonly m: Float32Array;
  /** What comes of it; the true join at first. */
  readonly now: Picture;
}

/** How the frame is spoiled. */
interface SpoilHow {
  readonly size: number;
  /** −1 or 1, and radians, by seed. */
  readonly side: number;
  readonly phase: number;
  readonly stream: RandomStream;
  /** The frame's number. */
  readonly n: number;
  readonly light: LightAt;
  /** Factors of cover about 1 in patches, new on each call. */
  readonly patches: () => Float32Array;
  /** By what a pixel's cover `a` is multiplied in the matte too. */
  readonly cover: (i: number, a: number) => number;
}

/** The work on a frame whose outcome is the true join as yet. */
export function spoilWork(j: Picture, b: Picture, m: Float32Array): SpoilWork {
  const now = createPicture(j.width, j.height, 3);
  now.data.set(j.data.subarray(0, now.data.length));
  return { j, b, m, now };
}

/** A plane seen from (x + dx, y). */
function moved(src: Float32Array, w: number, h: number, dx: number): Float32Array {
  if (dx === 0) return src;
  const out = new Float32Array(w * h);
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) out[y * w + x] = sampleBilinear(src, w, h, x + 0.5 + dx, y + 0.5);
  return out;
}

/** One channel of the performer anew, from the join's and the plate's linear light and the cover of each pixel. */
function layer(
  { j, b, m, now }: SpoilWork,
  c: number,
  value: (i: number, f: number, back: number, a: number) => number,
): void {
  const N = m.length;
  for (let i = 0; i < N; i++)
    if (m[i]! > 0.004)
      now.data[c * N + i] = bt709Encode(
        Math.max(0, value(i, bt709Decode(j.data[c * N + i]!), bt709Decode(b.data[c * N + i]!), m[i]!)),
      );
}

function each(w: SpoilWork, value: (c: number, i: number, f: number, back: number, a: number) => number): void {
  for (let c = 0; c < 3; c++) layer(w, c, (i, f, back, a) => value(c, i, f, back, a));
}

/** The performer beside its place by dx px. */
function slipped({ j, b, m, now }: SpoilWork, dx: number): void {
  const { width: W, height: H } = j;
  const N = m.length;
  const ma = moved(m, W, H, dx);
  for (let c = 0; c < 3; c++) {
    const p = moved(plane(j, c), W, H, dx);
    const q = plane(b, c);
    for (let i = 0; i < N; i++)
      if (Math.max(ma[i]!, m[i]!) >= 0.004)
        now.data[c * N + i] = bt709Encode(Math.max(0, ma[i]! * bt709Decode(p[i]!) + (1 - ma[i]!) * bt709Decode(q[i]!)));
  }
}

/** Where the performer covers most: each channel by a function of its plane. */
function within({ j, m, now }: SpoilWork, of: (p: Float32Array) => (i: number) => number): void {
  const N = m.length;
  for (let c = 0; c < 3; c++) {
    const value = of(plane(j, c));
    for (let i = 0; i < N; i++) if (m[i]! > 0.5) now.data[c * N + i] = value(i);
  }
}

const blurred = (w: SpoilWork, sd: number): void =>
  within(w, (p) => {
    const soft = gaussianPlane(p, w.j.width, w.j.height, sd);
    return (i) => soft[i]!;
  });

/** Every second frame's soft outline at a share of its cover. */
function chattering(w: SpoilWork, { size, n }: SpoilHow): void {
  if (n % 2 !== 0) return;
  each(w, (_c, _i, f, back, a) => {
    if (a >= 0.98) return f;
    const k = Math.min(1, (1 - size) / Math.max(0.05, a));
    return k * f + (1 - k) * back;
  });
}

function grained(w: SpoilWork, { size, stream }: SpoilHow): void {
  within(w, (p) => {
    // White noise of sd 1 through a Gaussian of s px comes out with sd 1 / (2 √π s).
    const other = gaussianPlane(
      Float32Array.from({ length: p.length }, () => stream.normal()),
      w.j.width,
      w.j.height,
      0.7,
    );
    return (i) => p[i]! + size * 2 * Math.sqrt(Math.PI) * 0.7 * other[i]!;
  });
}

function sharpened(w: SpoilWork, { size }: SpoilHow): void {
  within(w, (p) => {
    const soft = gaussianPlane(p, w.j.width, w.j.height, 1);
    return (i) => Math.min(1, Math.max(0, p[i]! + size * (p[i]! - soft[i]!)));
  });
}

function turned(w: SpoilWork, { size, light, n }: SpoilHow): void {
  const l = light(n);
  if (l !== null) turnLight(w.m, w.now.data, w.j.width, w.j.height, l, size);
}

const mirrored = ({ j, b, m, now }: SpoilWork, taken: boolean): void =>
  mirrorShadow(j, b, m, now.data, j.width, j.height, taken);
const weighed = ({ j, b, m, now }: SpoilWork, left: number | null, stops: number): void =>
  weighShadow(j, b, m, now.data, j.width, j.height, left, stops);

/** By kind; null where the frame stays and its order, its plate or its matte are what is wrong. */
export const LAYER_SPOILS: Readonly<
  Record<Exclude<Spoil, MoreSpoil | 'no contact'>, ((w: SpoilWork, how: SpoilHow) => void) | null>
> = {
  slip: (w, { size, phase, n }) => slipped(w, Math.SQRT2 * size * Math.sin(1.9 * n + phase)),
  chatter: chattering,
  'patchy chatter': (w, { patches }) => {
    const k = patches();
    each(w, (_c, i, f, back, a) => (a < 0.98 ? back + k[i]! * (f - back) : f));
  },
  'matte chatter': (w, { cover }) => each(w, (_c, i, f, back, a) => (a < 0.98 ? back + cover(i, a) * (f - back) : f)),
  'light turned': turned,
  spill: (w, { size }) => {
    const { data } = w.j;
    const N = w.m.length;
    layer(
      w,
      1,
      (i, f, _b, a) =>
        f + a * size * (0.2126 * bt709Decode(data[i]!) + 0.7152 * f + 0.0722 * bt709Decode(data[2 * N + i]!)),
    );
  },
  'dark edges': (w, { size }) =>
    each(w, (_c, _i, f, back, a) => (a < 0.98 ? f - size * Math.max(0, f - (1 - a) * back) : f)),
  'bright edges': (w, { size }) =>
    each(w, (_c, _i, f, back, a) => (a < 0.98 ? f + size * Math.max(0, f - (1 - a) * back) : f)),
  'black lifted': (w, { size }) => each(w, (_c, _i, f, _b, a) => f + a * size * (1 - f)),
  'white lifted': (w, { size }) => each(w, (_c, _i, f, _b, a) => f * (1 + (2 ** size - 1) * a)),
  cast: (w, { size, side }) =>
    each(w, (c, _i, f, _b, a) => f * (1 + a * size * [side > 0 ? 0.9 : -0.55, 0, side > 0 ? -0.6 : 1.2][c]!)),
  'no grain': (w, { size }) => blurred(w, size),
  blur: (w, { size }) => blurred(w, size),
  'doubled grain': grained,
  sharpened,
  'shadow mirrored': (w) => mirrored(w, false),
  'no shadow': (w) => mirrored(w, true),
  'shadow faint': (w, { size }) => weighed(w, 1 - size, size),
  'shadow heavy': (w, { size }) => weighed(w, null, size),
  'frame doubled': null,
  'frame dropped': null,
  'fade ignored': null,
  'flash ignored': null,
  scale: null,
  'erase seam': null,
  'haze missing': null,
  'blur missing': null,
};
