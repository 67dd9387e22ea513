/**
 * Further faults for bench/spoiled-joins.ts, a picture at a time: exposure and white balance of the
 * performer, its outline and cover, and what a file's making does to the whole picture. Works on
 * display-coded frames; light is mixed in linear light.
 */
import { daylightXy, linearOfWhite, planckianXy } from '../src/colour/temperature.js';
import { bt709Decode, bt709Encode } from '../src/colour/transfer.js';
import type { RandomStream } from '../src/core/random.js';
import { nearestInSet } from '../src/image/distance.js';
import { gaussianPlane } from '../src/image/gaussian.js';
import { createPicture, type Picture } from '../src/image/picture.js';
import { sampleBilinear } from '../src/image/sampling.js';

export type MoreSpoil =
  | 'darker'
  | 'brighter'
  | 'white balance'
  | 'halo'
  | 'hard edge'
  | 'holes'
  | 'see-through'
  | 'flicker'
  | 'whole darker'
  | 'wrong range'
  | 'wrong matrix'
  | 'interlaced';

/** What one spoiled shot keeps from frame to frame. `side`: −1 or 1 by seed. */
export interface SpoilState {
  readonly side: number;
  readonly phase: number;
  readonly stream: RandomStream;
  last: Picture | null;
}

const W709 = [0.2126, 0.7152, 0.0722] as const;
const W601 = [0.299, 0.587, 0.114] as const;
/** Daylight's chromaticity, of a black body where there is no daylight. */
const whiteXy = (kelvin: number): [number, number] => (kelvin < 4000 ? planckianXy(kelvin) : daylightXy(kelvin));

/** A frame that is being spoiled: true join, plate and matte, what comes of it, and how. */
interface More {
  readonly j: Picture;
  readonly b: Picture;
  readonly m: Float32Array;
  /** Display-coded, planar; the true join at first. */
  readonly d: Float32Array;
  readonly size: number;
  readonly s: SpoilState;
  readonly n: number;
}

/** The performer's own light, premultiplied, is all that the plate does not bring. */
function performer({ j, b, m, d }: More, gain: readonly number[]): void {
  const N = m.length;
  for (let c = 0; c < 3; c++)
    for (let i = 0; i < N; i++)
      if (m[i]! > 0.004) {
        const back = (1 - m[i]!) * bt709Decode(b.data[c * N + i]!);
        const own = Math.max(0, bt709Decode(j.data[c * N + i]!) - back);
        d[c * N + i] = bt709Encode(Math.min(1, back + gain[c]! * own));
      }
}

/** The performer under another cover. */
function cover({ j, b, m, d }: More, a: Float32Array): void {
  const N = m.length;
  for (let c = 0; c < 3; c++)
    for (let i = 0; i < N; i++)
      if (a[i] !== m[i]) {
        const back = bt709Decode(b.data[c * N + i]!);
        const f = bt709Decode(j.data[c * N + i]!);
        const own = m[i]! > 0.05 ? Math.max(0, (f - (1 - m[i]!) * back) / m[i]!) : f;
        d[c * N + i] = bt709Encode(Math.min(1, a[i]! * own + (1 - a[i]!) * back));
      }
}

/** The whole picture's coded values by a function of the three. */
function coded({ m, d }: More, fn: (r: number, g: number, b: number) => readonly [number, number, number]): void {
  const N = m.length;
  for (let i = 0; i < N; i++) {
    const v = fn(d[i]!, d[N + i]!, d[2 * N + i]!);
    for (let c = 0; c < 3; c++) d[c * N + i] = Math.min(1, Math.max(0, v[c]!));
  }
}

const stops = (w: More, by: number): void => performer(w, [2 ** by, 2 ** by, 2 ** by]);

/** Light of 5600 K taken for one `size` K higher or lower; under 4000 K there is no daylight, but a black body's. */
function whiteBalance(w: More): void {
  const a = linearOfWhite(daylightXy(5600));
  const o = linearOfWhite(whiteXy(5600 + w.s.side * w.size));
  const g = a.map((v, c) => v / o[c]!);
  performer(
    w,
    g.map((v) => v / g[1]!),
  );
}

function holes(w: More): void {
  const noise = gaussianPlane(
    Float32Array.from({ length: w.m.length }, () => w.s.stream.normal()),
    w.j.width,
    w.j.height,
    4,
  );
  const sd = 1 / (2 * Math.sqrt(Math.PI) * 4);
  const at = limitOf(w.size);
  cover(
    w,
    w.m.map((a, i) => (noise[i]! / sd > at ? 0 : a)),
  );
}

/** A rim of light that falls off over four pixels. */
function halo({ j, m, d, size }: More): void {
  const N = m.length;
  const body = Uint8Array.from(m, (a) => (a > 0.5 ? 1 : 0));
  const { distance } = nearestInSet(body, j.width, j.height);
  for (let c = 0; c < 3; c++)
    for (let i = 0; i < N; i++) {
      const q = distance[i]!;
      if (q > 0 && q < 4 && m[i]! < 0.5)
        d[c * N + i] = bt709Encode(Math.min(1, bt709Decode(d[c * N + i]!) + size * (1 - q / 4) * (1 - m[i]!)));
    }
}

/** Limited range read as full, or full as limited (ITU-R BT.709-6, item 4: 16 to 235 of 255). */
function wrongRange(w: More): void {
  coded(
    w,
    (...v) => v.map((q) => (w.s.side > 0 ? (16 + 219 * q) / 255 : (255 * q - 16) / 219)) as [number, number, number],
  );
}

/** Coded by one matrix and decoded by the other (ITU-R BT.601 and BT.709). */
function wrongMatrix(w: More): void {
  const [a, r] = w.s.side > 0 ? [W709, W601] : [W601, W709];
  coded(w, (r0, g0, b0) => {
    const y = a[0] * r0 + a[1] * g0 + a[2] * b0;
    const cb = (b0 - y) / (2 * (1 - a[2]));
    const cr = (r0 - y) / (2 * (1 - a[0]));
    const R = y + 2 * (1 - r[0]) * cr;
    const B = y + 2 * (1 - r[2]) * cb;
    return [R, (y - r[0] * R - r[2] * B) / r[1], B];
  });
}

/** Every second row of the frame before. */
function interlaced({ j: { width: W, height: H }, d, s: { last } }: More): void {
  if (last === null) return;
  for (let c = 0; c < 3; c++)
    for (let y = 0; y < H; y += 2) d.set(last.data.subarray((c * H + y) * W, (c * H + y + 1) * W), (c * H + y) * W);
}

const MORE: Readonly<Record<MoreSpoil, (w: More) => void>> = {
  darker: (w) => stops(w, -w.size),
  brighter: (w) => stops(w, w.size),
  'white balance': whiteBalance,
  flicker: (w) => stops(w, w.size * Math.sin(2.1 * w.n + w.s.phase)),
  'see-through': (w) =>
    cover(
      w,
      w.m.map((a) => (1 - w.size) * a),
    ),
  'hard edge': (w) =>
    cover(
      w,
      w.m.map((a) => (a < 0.5 ? (1 - w.size) * a : 1 - (1 - w.size) * (1 - a))),
    ),
  holes,
  halo,
  'whole darker': ({ d, size }) => {
    const k = 2 ** -size;
    for (let i = 0; i < d.length; i++) d[i] = bt709Encode(k * bt709Decode(d[i]!));
  },
  'wrong range': wrongRange,
  'wrong matrix': wrongMatrix,
  interlaced,
};

/** Whether a fault is one of these. */
export const isMoreSpoil = (spoil: string): spoil is MoreSpoil => Object.hasOwn(MORE, spoil);

/**
 * Frame `n` with one of these faults of so much `size` (unit by kind, spoil-kinds.ts): true join, plate, matte
 * (height × width, 0..1). What the shot keeps in `s` goes on.
 */
export function spoilMore(
  spoil: MoreSpoil,
  size: number,
  s: SpoilState,
  j: Picture,
  b: Picture,
  m: Float32Array,
  n: number,
): Picture {
  const out = createPicture(j.width, j.height, 3);
  out.data.set(j.data.subarray(0, out.data.length));
  MORE[spoil]({ j, b, m, d: out.data, size, s, n });
  s.last = j;
  return out;
}

/** The performer drawn larger about its foot, in picture and matte; its shadow stays as it was. */
export function scaledAbout(
  j: Picture,
  b: Picture,
  m: Float32Array,
  k: number,
): { join: Picture; plate: Picture; matte: Float32Array } {
  const { width: W, height: H } = j;
  const N = W * H;
  const join = createPicture(W, H, 3);
  const matte = new Float32Array(N);
  let sx = 0;
  let s = 0;
  let low = 0;
  for (let i = 0; i < N; i++) {
    if (m[i]! > 0.1) low = Math.max(low, Math.floor(i / W));
    sx += m[i]! * (i % W);
    s += m[i]!;
  }
  const fx = sx / Math.max(1e-6, s);
  join.data.set(j.data.subarray(0, 3 * N));
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      const qx = fx + (x + 0.5 - fx) / k;
      const qy = low + (y + 0.5 - low) / k;
      const i = y * W + x;
      const a = sampleBilinear(m, W, H, qx, qy);
      matte[i] = a;
      if (a < 0.004 && m[i]! < 0.004) continue;
      for (let c = 0; c < 3; c++) {
        const at = sampleBilinear(j.data.subarray(c * N, (c + 1) * N), W, H, qx, qy);
        const there = sampleBilinear(b.data.subarray(c * N, (c + 1) * N), W, H, qx, qy);
        const back = bt709Decode(b.data[c * N + i]!);
        join.data[c * N + i] = bt709Encode(
          Math.min(1, Math.max(0, bt709Decode(at) - (1 - a) * bt709Decode(there)) + (1 - a) * back),
        );
      }
    }
  return { join, plate: b, matte };
}

/**
 * What darkens the ground close to the foot is lifted by `share` to what the ground a body's width
 * away shows or, where that is lit, to the plate.
 */
export function withoutContact(j: Picture, b: Picture, m: Float32Array, share: number): Picture {
  const { width: W, height: H } = j;
  const N = W * H;
  const out = createPicture(W, H, 3);
  out.data.set(j.data.subarray(0, 3 * N));
  let low = 0;
  let left = W;
  let right = 0;
  for (let i = 0; i < N; i++)
    if (m[i]! > 0.1) {
      low = Math.max(low, Math.floor(i / W));
      left = Math.min(left, i % W);
      right = Math.max(right, i % W);
    }
  const fx = (left + right) / 2;
  const r = 0.45 * (right - left);
  for (let y = Math.max(0, Math.floor(low - 0.6 * r)); y < Math.min(H, low + 0.6 * r); y++)
    for (let x = Math.max(0, Math.floor(fx - 1.5 * r)); x < Math.min(W, fx + 1.5 * r); x++) {
      const i = y * W + x;
      const k = share * Math.max(0, 1 - ((x - fx) / (1.5 * r)) ** 2 - ((y - low) / (0.6 * r)) ** 2) ** 0.3;
      if (m[i]! < 0.02)
        for (let c = 0; c < 3; c++)
          out.data[c * N + i] = j.data[c * N + i]! + k * Math.max(0, b.data[c * N + i]! - j.data[c * N + i]!);
    }
  return out;
}

/** Level of a normal field that `share` of it lies above: 5, 2 or 1 %. */
function limitOf(share: number): number {
  return share >= 0.05 ? 1.645 : share >= 0.02 ? 2.054 : 2.326;
}
