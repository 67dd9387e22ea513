/**
 * What a made join goes through after it was laid: grain, a window that slides, coding and decoding as a film would be.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join as path } from 'node:path';
import { bt709Decode, bt709Encode } from '../src/colour/transfer.js';
import { RandomStream } from '../src/core/random.js';
import { gaussianPlane } from '../src/image/gaussian.js';
import { createPicture, type Picture } from '../src/image/picture.js';
import { sampleBilinear } from '../src/image/sampling.js';
import { toCodedRgb } from '../src/media/convert.js';
import { VideoReader } from '../src/media/video-reader.js';
import { VideoWriter } from '../src/media/video-writer.js';
import type { JoinFrame, Look } from './made-join-recipe.js';

/** Film-like grain on display-coded values: strongest in the middle, channels half alike. */
function addGrain(p: Picture, sigma: number, px: number, r: RandomStream): void {
  const { width: W, height: H, data } = p;
  const N = W * H;
  const unit = 2 * Math.sqrt(Math.PI) * px;
  const white = (): Float32Array =>
    gaussianPlane(
      Float32Array.from({ length: N }, () => r.normal()),
      W,
      H,
      px,
    );
  const common = white();
  for (let c = 0; c < 3; c++) {
    const own = white();
    for (let i = 0; i < N; i++) {
      const v = data[c * N + i]!;
      data[c * N + i] = Math.min(
        1,
        Math.max(0, v + sigma * unit * (0.4 + 2.4 * v * (1 - v)) * 0.707 * (common[i]! + own[i]!)),
      );
    }
  }
}

export function part(
  src: Float32Array,
  W: number,
  H: number,
  x0: number,
  y0: number,
  w: number,
  h: number,
): Float32Array {
  const out = new Float32Array(w * h);
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) out[y * w + x] = sampleBilinear(src, W, H, x0 + x + 0.5, y0 + y + 0.5);
  return out;
}

/**
 * Part of a picture, softened by `soft` px: in linear light, as a lens does (a soft edge mixed
 * in coded values would be darker than any join's).
 */
export function windowed(p: Picture, x0: number, y0: number, w: number, h: number, soft: number): Picture {
  const out = createPicture(w, h, 3);
  const N = p.width * p.height;
  const whole = Number.isInteger(x0) && Number.isInteger(y0) && soft === 0;
  for (let c = 0; c < 3; c++) {
    const src = p.data.subarray(c * N, (c + 1) * N);
    if (whole) {
      out.data.set(part(src, p.width, p.height, x0, y0, w, h), c * w * h);
      continue;
    }
    const q = part(src.map(decoded), p.width, p.height, x0, y0, w, h);
    out.data.set((soft > 0 ? gaussianPlane(q, w, h, soft) : q).map(bt709Encode), c * w * h);
  }
  return out;
}

const LINEAR = Float32Array.from({ length: 4097 }, (_, i) => bt709Decode(i / 4096));
const decoded = (v: number): number => LINEAR[Math.round(4096 * Math.min(1, Math.max(0, v)))]!;

/** Frames written as H.264 and read again; as they are where `crf` is null (rounded to 8 bits). */
export async function through(frames: readonly Picture[], crf: number | null): Promise<Picture[]> {
  if (crf === null) return frames.map((p) => ({ ...p, data: p.data.map((v) => Math.round(255 * v) / 255) }));
  const folder = mkdtempSync(path(tmpdir(), 'made-'));
  const file = path(folder, 'a.mp4');
  try {
    const w = await VideoWriter.open(file, {
      widthPx: frames[0]!.width,
      heightPx: frames[0]!.height,
      rate: { num: 24, den: 1 },
      codec: 'h264',
      crf,
      preset: 'medium',
    });
    for (const p of frames) await w.writeCoded(p);
    await w.close();
    const r = await VideoReader.open(file);
    const out: Picture[] = [];
    for await (const f of r.frames(0, frames.length)) out.push(toCodedRgb(f));
    await r.close();
    return out;
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

/** Grain and file laid on clean frames. */
export async function finish(clean: readonly JoinFrame[], look: Look, r: RandomStream): Promise<JoinFrame[]> {
  const seed = r.uint32();
  const joins: Picture[] = [];
  const plates: Picture[] = [];
  clean.forEach((f, n) => {
    addGrain(f.join, look.grain, look.grainPx, new RandomStream(seed, n));
    addGrain(f.plate, look.grain, look.grainPx, new RandomStream(look.sameDraw ? seed : seed + 1, n));
    joins.push(f.join);
    plates.push(f.plate);
  });
  const j = await through(joins, look.crf);
  const p = await through(plates, look.crf);
  return clean.map((f, n) => ({ join: j[n]!, plate: p[n]!, matte: f.matte }));
}

/** Where the window stands on a frame, within the room there is. */
export function windowAt(
  n: number,
  look: Look,
  roomX: number,
  roomY: number,
  x: number,
  y: number,
  r: RandomStream,
): [number, number] {
  const hold = (v: number, most: number): number => Math.min(most, Math.max(0, v));
  return [
    hold(x + look.speed * n + look.shake * r.normal(), roomX),
    hold(y + 0.3 * look.speed * n + look.shake * r.normal(), roomY),
  ];
}
