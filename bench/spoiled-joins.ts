/**
 * Joins spoiled on purpose: a true join (picture, performer's matte, plate without the performer) written again with one fault
 * of known size. Works on display-coded frames; what is mixed is mixed in linear light. Sides, phases and places come from the
 * seed. Unspoiled frames pass bit for bit but for the 8-bit lossless file.
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
import type { InspectionMatterName } from '../src/inspect/types.js';

export const SPOILS = ['slip', 'spill', 'dark edges', 'no grain', 'doubled grain', 'shadow mirrored', 'no shadow', 'black lifted', 'white lifted', 'frame doubled', 'chatter', 'patchy chatter', 'blur', 'cast', 'light turned'] as const;
export type Spoil = (typeof SPOILS)[number];

/** Matter that has to be named. */
export const NAMED: Readonly<Record<Spoil, InspectionMatterName>> = {
  slip: 'slip', spill: 'spill', 'dark edges': 'edgeLightness', 'no grain': 'grain', 'doubled grain': 'grain', 'shadow mirrored': 'shadow', 'no shadow': 'shadow', 'black lifted': 'blackLevel',
  'white lifted': 'whiteLevel', 'frame doubled': 'cadence', chatter: 'chatter', 'patchy chatter': 'chatter', blur: 'blur', cast: 'colour', 'light turned': 'light',
};

/** `light`: unit vector towards the key on each frame, camera coordinates; needed to turn the light. */
export interface TrueJoin { readonly plate: string; readonly join: string; readonly matte: string; readonly light?: (frame: number) => readonly [number, number, number] }

/** A plane seen from (x + dx, y + dy). */
function moved(src: Float32Array, w: number, h: number, dx: number, dy: number): Float32Array {
  if (dx === 0 && dy === 0) return src;
  const out = new Float32Array(w * h);
  for (let y = 0; y < h; y++) for (let x = 0; x < w; x++) out[y * w + x] = sampleBilinear(src, w, h, x + 0.5 + dx, y + 0.5 + dy);
  return out;
}

/** Writes the spoiled join to `file` (FFV1, 8 bit). Returns the frame at fault where it is a single one. */
export async function writeSpoiled(from: TrueJoin, spoil: Spoil, seed: number, file: string, frames: number): Promise<number | null> {
  const [join, plate, matte] = await Promise.all([from.join, from.plate, from.matte].map((f) => VideoReader.open(f))) as [VideoReader, VideoReader, VideoReader];
  const { widthPx: W, heightPx: H, rate } = join.info;
  const N = W * H;
  const out = await VideoWriter.open(file, { widthPx: W, heightPx: H, rate, codec: 'ffv1', bits: 8 });
  const stream = new RandomStream(seed);
  const phase = stream.uniform() * 6.28, side = stream.uniform() < 0.5 ? -1 : 1, at = 3 + Math.floor(stream.uniform() * (frames - 6));
  const plates = plate.frames(0, frames), mattes = matte.frames(0, frames);
  let last: Picture | null = null, n = 0;
  for await (const jf of join.frames(0, frames)) {
    const pf = await plates.next(), mf = await mattes.next();
    if (pf.done || mf.done) break;
    const j = toCodedRgb(jf), b = toCodedRgb(pf.value);
    const m = plane(toCodedRgb(mf.value), 0).slice();
    const now = createPicture(W, H, 3);
    now.data.set(j.data.subarray(0, 3 * N));
    const d = now.data;
    const layer = (c: number, value: (i: number, f: number, back: number, a: number) => number): void => { for (let i = 0; i < N; i++) if (m[i]! > 0.004) d[c * N + i] = bt709Encode(Math.max(0, value(i, bt709Decode(j.data[c * N + i]!), bt709Decode(b.data[c * N + i]!), m[i]!))); };
    if (spoil === 'slip' || spoil === 'chatter') {
      const dx = spoil === 'slip' ? 1.41 * Math.sin(1.9 * n + phase) : 0, ma = spoil === 'slip' ? moved(m, W, H, dx, 0) : m;
      const flip = n % 2 === 0 ? 1 : -1;
      for (let c = 0; c < 3; c++) {
        const p = moved(plane(j, c), W, H, dx, 0), q = plane(b, c);
        for (let i = 0; i < N; i++) {
          const cover = Math.max(ma[i]!, m[i]!);
          if (cover < 0.004) continue;
          if (spoil === 'slip') d[c * N + i] = bt709Encode(Math.max(0, ma[i]! * bt709Decode(p[i]!) + (1 - ma[i]!) * bt709Decode(q[i]!)));
          else if (m[i]! < 0.98) { const k = flip > 0 ? Math.min(1, 0.4 / Math.max(0.05, m[i]!)) : 1; d[c * N + i] = bt709Encode(k * bt709Decode(p[i]!) + (1 - k) * bt709Decode(q[i]!)); }
        }
      }
    }
    if (spoil === 'patchy chatter') {
      // Patches some 3 px wide come and go along the outline, each frame anew; sd a third of the cover.
      const noise = gaussianPlane(Float32Array.from({ length: N }, () => stream.normal()), W, H, 3);
      const k = Float32Array.from(noise, (v) => Math.min(1.6, Math.max(0, 1 + 0.33 * v * 6 * Math.sqrt(Math.PI))));
      for (let c = 0; c < 3; c++) layer(c, (i, f, back, a) => (a < 0.98 ? back + k[i]! * (f - back) : f));
    }
    if (spoil === 'light turned' && from.light !== undefined) turnLight(m, d, W, H, from.light(n));
    if (spoil === 'spill') layer(1, (i, f, _b, a) => f + a * 0.35 * (0.2126 * bt709Decode(j.data[i]!) + 0.7152 * f + 0.0722 * bt709Decode(j.data[2 * N + i]!)));
    if (spoil === 'dark edges') for (let c = 0; c < 3; c++) layer(c, (_i, f, back, a) => (a < 0.98 ? f - 0.6 * Math.max(0, f - (1 - a) * back) : f));
    if (spoil === 'black lifted') for (let c = 0; c < 3; c++) layer(c, (_i, f, _b, a) => f + a * 0.1 * (1 - f));
    if (spoil === 'white lifted') for (let c = 0; c < 3; c++) layer(c, (_i, f, _b, a) => f * (1 + 1.6 * a));
    if (spoil === 'cast') for (let c = 0; c < 3; c++) layer(c, (_i, f, _b, a) => f * (1 + a * [side > 0 ? 0.9 : -0.55, 0, side > 0 ? -0.6 : 1.2][c]!));
    if (spoil === 'no grain' || spoil === 'blur' || spoil === 'doubled grain') {
      for (let c = 0; c < 3; c++) {
        const soft = gaussianPlane(plane(j, c), W, H, spoil === 'blur' ? 3 : 1.4);
        const noise = spoil === 'doubled grain' ? gaussianPlane(Float32Array.from({ length: N }, () => stream.normal()), W, H, 0.7) : null;
        for (let i = 0; i < N; i++) if (m[i]! > 0.5) d[c * N + i] = noise === null ? soft[i]! : j.data[c * N + i]! + 0.06 * noise[i]!;
      }
    }
    if (spoil === 'shadow mirrored' || spoil === 'no shadow') mirrorShadow(j, b, m, d, W, H, spoil === 'no shadow');
    const twice: boolean = spoil === 'frame doubled' && n === at && last !== null;
    await out.writeCoded(twice ? last! : now);
    last = now;
    n++;
  }
  await Promise.all([out.close(), join.close(), plate.close(), matte.close()]);
  return spoil === 'frame doubled' ? at : null;
}

/** What darkens the ground beside the performer is taken away, and laid on the other side of its middle unless `gone`. */
function mirrorShadow(j: Picture, b: Picture, m: Float32Array, d: Float32Array, W: number, H: number, gone: boolean): void {
  const N = W * H;
  let sx = 0, s = 0;
  for (let i = 0; i < N; i++) { sx += m[i]! * (i % W); s += m[i]!; }
  const middle = Math.round(sx / Math.max(1, s));
  const luma = (p: Picture): Float32Array => gaussianPlane(Float32Array.from({ length: N }, (_, i) => 0.2126 * p.data[i]! + 0.7152 * p.data[N + i]! + 0.0722 * p.data[2 * N + i]!), W, H, 1.2);
  const lj = luma(j), lb = luma(b);
  const ratio = Float32Array.from(lj, (v, i) => Math.min(1, v / Math.max(0.03, lb[i]!)));
  for (let y = 0; y < H; y++) {
    for (let x = 0; x < W; x++) {
      const i = y * W + x, xm = 2 * middle - x;
      if (m[i]! > 0.02) continue;
      const here = ratio[i]! < 0.9, there = !gone && xm >= 0 && xm < W && m[y * W + xm]! < 0.02 && ratio[y * W + xm]! < 0.9;
      for (let c = 0; c < 3; c++) {
        if (here) d[c * N + i] = b.data[c * N + i]!;
        if (there) d[c * N + i] = d[c * N + i]! * ratio[y * W + xm]!;
      }
    }
  }
}

/** The shading of a rounded body under the key is taken off and laid on again from the opposite side of the picture (Lambert's law on the normals of the filled matte, with a fill of .35). */
function turnLight(m: Float32Array, d: Float32Array, W: number, H: number, light: readonly [number, number, number]): void {
  const N = W * H, normals = normalsOfMatte(m, W, H), fill = 0.35;
  const lit = (i: number, side: number): number => fill + Math.max(0, side * (normals[i]! * light[0] + normals[N + i]! * light[1]) + normals[2 * N + i]! * light[2]);
  for (let i = 0; i < N; i++) {
    if (m[i]! < 0.01 || normals[2 * N + i] === 0) continue;
    const k = 1 + m[i]! * (Math.min(3, lit(i, -1) / lit(i, 1)) - 1);
    for (let c = 0; c < 3; c++) d[c * N + i] = bt709Encode(k * bt709Decode(d[c * N + i]!));
  }
}
