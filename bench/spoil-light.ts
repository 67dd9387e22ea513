/**
 * Light, shadows and air spoiled within a true join: darkness weighed, shadows mirrored, the key turned, haze and blur
 * laid on.
 */
import { bt709Decode, bt709Encode } from '../src/colour/transfer.js';
import { gaussianPlane } from '../src/image/gaussian.js';
import { createPicture, plane, type Picture } from '../src/image/picture.js';
import { normalsOfMatte } from '../src/join/light/relight.js';

/** Towards the key on a frame, unit vector in camera coordinates; null where it is not known. */
export type LightAt = (frame: number) => readonly [number, number, number] | null;

/**
 * The shadow beside the performer weighed anew: `left` of its darkness kept, or `stops` more of it where that is null.
 */
export function weighShadow(
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
export function mirrorShadow(
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
export function turnLight(
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

export function brighterWithin(p: Picture, by: number, matte: Float32Array | null): Picture {
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
export function hazed(b: Picture, amount: number): Picture {
  const out = createPicture(b.width, b.height, 3);
  const N = b.width * b.height;
  for (let c = 0; c < 3; c++)
    for (let i = 0; i < N; i++)
      out.data[c * N + i] = bt709Encode(
        (1 - amount) * bt709Decode(b.data[c * N + i]!) + amount * [0.42, 0.45, 0.5][c]!,
      );
  return out;
}

/** A picture under light of so many stops more. */
export function lit(b: Picture, stops: number): Picture {
  const out = createPicture(b.width, b.height, 3);
  for (let i = 0; i < out.data.length; i++)
    out.data[i] = bt709Encode(Math.min(1, 2 ** stops * Math.max(0, bt709Decode(b.data[i]!))));
  return out;
}

export function softened(b: Picture, px: number): Picture {
  const out = createPicture(b.width, b.height, 3);
  const N = b.width * b.height;
  for (let c = 0; c < 3; c++) out.data.set(gaussianPlane(plane(b, c), b.width, b.height, px), c * N);
  return out;
}

/** The join with its surroundings exchanged for `around`, shadows kept as a share of the light. */
export function surrounded(j: Picture, b: Picture, m: Float32Array, around: Picture): Picture {
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
