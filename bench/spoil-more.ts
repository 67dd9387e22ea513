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

export function spoilMore(
  spoil: MoreSpoil,
  size: number,
  s: SpoilState,
  j: Picture,
  b: Picture,
  m: Float32Array,
  n: number,
): Picture {
  const { width: W, height: H } = j;
  const N = W * H;
  const out = createPicture(W, H, 3);
  const d = out.data;
  d.set(j.data.subarray(0, 3 * N));
  /** The performer's own light, premultiplied, is all that the plate does not bring. */
  const performer = (gain: readonly number[]): void => {
    for (let c = 0; c < 3; c++)
      for (let i = 0; i < N; i++)
        if (m[i]! > 0.004) {
          const back = (1 - m[i]!) * bt709Decode(b.data[c * N + i]!);
          const own = Math.max(0, bt709Decode(j.data[c * N + i]!) - back);
          d[c * N + i] = bt709Encode(Math.min(1, back + gain[c]! * own));
        }
  };
  const cover = (a: Float32Array): void => {
    for (let c = 0; c < 3; c++)
      for (let i = 0; i < N; i++)
        if (a[i] !== m[i]) {
          const back = bt709Decode(b.data[c * N + i]!);
          const f = bt709Decode(j.data[c * N + i]!);
          const own = m[i]! > 0.05 ? Math.max(0, (f - (1 - m[i]!) * back) / m[i]!) : f;
          d[c * N + i] = bt709Encode(Math.min(1, a[i]! * own + (1 - a[i]!) * back));
        }
  };
  const coded = (fn: (r: number, g: number, b: number) => readonly [number, number, number]): void => {
    for (let i = 0; i < N; i++) {
      const v = fn(d[i]!, d[N + i]!, d[2 * N + i]!);
      for (let c = 0; c < 3; c++) d[c * N + i] = Math.min(1, Math.max(0, v[c]!));
    }
  };
  switch (spoil) {
    case 'darker':
      performer([2 ** -size, 2 ** -size, 2 ** -size]);
      break;
    case 'brighter':
      performer([2 ** size, 2 ** size, 2 ** size]);
      break;
    case 'white balance': {
      // Light of 5600 K taken for one `size` K higher or lower; under 4000 K there is no daylight, but a black body's.
      const a = linearOfWhite(daylightXy(5600));
      const o = linearOfWhite(whiteXy(5600 + s.side * size));
      const g = a.map((v, c) => v / o[c]!);
      performer(g.map((v) => v / g[1]!));
      break;
    }
    case 'flicker':
      performer(Array<number>(3).fill(2 ** (size * Math.sin(2.1 * n + s.phase))));
      break;
    case 'see-through':
      cover(m.map((a) => (1 - size) * a));
      break;
    case 'hard edge':
      cover(m.map((a) => (a < 0.5 ? (1 - size) * a : 1 - (1 - size) * (1 - a))));
      break;
    case 'holes': {
      const noise = gaussianPlane(
        Float32Array.from({ length: N }, () => s.stream.normal()),
        W,
        H,
        4,
      );
      const sd = 1 / (2 * Math.sqrt(Math.PI) * 4);
      const at = limitOf(size);
      cover(m.map((a, i) => (noise[i]! / sd > at ? 0 : a)));
      break;
    }
    case 'halo': {
      const body = Uint8Array.from(m, (a) => (a > 0.5 ? 1 : 0));
      const { distance } = nearestInSet(body, W, H);
      for (let c = 0; c < 3; c++)
        for (let i = 0; i < N; i++) {
          const q = distance[i]!;
          if (q > 0 && q < 4 && m[i]! < 0.5)
            d[c * N + i] = bt709Encode(Math.min(1, bt709Decode(d[c * N + i]!) + size * (1 - q / 4) * (1 - m[i]!)));
        }
      break;
    }
    case 'whole darker': {
      const k = 2 ** -size;
      for (let i = 0; i < 3 * N; i++) d[i] = bt709Encode(k * bt709Decode(d[i]!));
      break;
    }
    case 'wrong range':
      coded(
        (...v) => v.map((q) => (s.side > 0 ? (16 + 219 * q) / 255 : (255 * q - 16) / 219)) as [number, number, number],
      );
      break;
    case 'wrong matrix': {
      const [a, r] = s.side > 0 ? [W709, W601] : [W601, W709];
      coded((r0, g0, b0) => {
        const y = a[0] * r0 + a[1] * g0 + a[2] * b0;
        const cb = (b0 - y) / (2 * (1 - a[2]));
        const cr = (r0 - y) / (2 * (1 - a[0]));
        const R = y + 2 * (1 - r[0]) * cr;
        const B = y + 2 * (1 - r[2]) * cb;
        return [R, (y - r[0] * R - r[2] * B) / r[1], B];
      });
      break;
    }
    case 'interlaced':
      if (s.last !== null)
        for (let c = 0; c < 3; c++)
          for (let y = 0; y < H; y += 2) d.set(s.last.data.subarray(c * N + y * W, c * N + (y + 1) * W), c * N + y * W);
      break;
  }
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
