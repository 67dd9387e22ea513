/**
 * Grain and sharpness inside the performer against the plate about it.
 *
 * Grain: the sd of a high-pass (Immerkær, "Fast noise variance estimation", CVIU 64, 1996: the difference of two Laplacians,
 * blind to planes and parabolas) in small blocks of the picture halved in size, because film grain and what an encoder leaves
 * of it are larger than a pixel. Fur and brick raise it in most blocks, so the quietest are compared. Where the performer
 * without its grain is at hand (the recipe rendered again without the air step), it is taken away first, and with it the fur.
 */
import { edgeSigma } from '../take/sharpness.js';
import { grow, lumaAt, quantile, type SeenFrame } from './frame.js';

/** Cells a block's side, in the halved picture. */
const BLOCK = 5;

/** Immerkær mask over one block of `luma` (sd of the noise), the block's corner at (x, y). */
function blockSigma(luma: Float32Array, width: number, x: number, y: number): number {
  let sum = 0, n = 0;
  for (let j = y + 1; j < y + BLOCK - 1; j++) {
    for (let i = x + 1; i < x + BLOCK - 1; i++) {
      const o = j * width + i;
      const v = luma[o - width - 1]! - 2 * luma[o - width]! + luma[o - width + 1]! - 2 * luma[o - 1]! + 4 * luma[o]! - 2 * luma[o + 1]! + luma[o + width - 1]! - 2 * luma[o + width]! + luma[o + width + 1]!;
      sum += Math.abs(v);
      n++;
    }
  }
  return (Math.sqrt(Math.PI / 2) * sum) / (6 * n);
}

interface Halved { readonly width: number; readonly height: number; readonly luma: Float32Array; readonly low: Float32Array; readonly high: Float32Array; readonly x0: number; readonly y0: number }

/** Part of a frame halved: mean luma, least and most alpha of each cell. */
function halve(luma: Float32Array, f: SeenFrame, box: readonly [number, number, number, number]): Halved {
  const W = f.join.width;
  const w = (box[2] - box[0]) >> 1, h = (box[3] - box[1]) >> 1;
  const out = new Float32Array(w * h), low = new Float32Array(w * h), high = new Float32Array(w * h);
  for (let y = 0; y < h; y++) {
    for (let x = 0; x < w; x++) {
      const i = (box[1] + 2 * y) * W + box[0] + 2 * x;
      const a = f.matte[i]!, b = f.matte[i + 1]!, c = f.matte[i + W]!, d = f.matte[i + W + 1]!;
      out[y * w + x] = (luma[i]! + luma[i + 1]! + luma[i + W]! + luma[i + W + 1]!) / 4;
      low[y * w + x] = Math.min(a, b, c, d);
      high[y * w + x] = Math.max(a, b, c, d);
    }
  }
  return { width: w, height: h, luma: out, low, high, x0: box[0], y0: box[1] };
}

/** sd of blocks where every cell passes; `step` in cells. */
function blockSigmas(p: Halved, test: (low: number, high: number) => boolean, step: number): number[] {
  const out: number[] = [];
  for (let y = 0; y + BLOCK <= p.height; y += step) {
    for (let x = 0; x + BLOCK <= p.width; x += step) {
      let ok = true;
      for (let j = 0; j < BLOCK && ok; j++) for (let i = 0; i < BLOCK; i++) { const o = (y + j) * p.width + x + i; if (!test(p.low[o]!, p.high[o]!)) { ok = false; break; } }
      if (ok) out.push(blockSigma(p.luma, p.width, x, y));
    }
  }
  return out;
}

/** Quiet grain of the picture outside the performer; null where too little is seen. */
function outsideGrain(f: SeenFrame, luma: Float32Array): number | null {
  const b = f.box!;
  const box = grow(b, 1.5 * (b[3] - b[1]), 0.7 * (b[3] - b[1]), f.join.width, f.join.height);
  const s = blockSigmas(halve(luma, f, box), (_l, h) => h < 0.02, 2);
  return s.length < 100 ? null : quantile(s, 0.08);
}

export interface GrainReading {
  /** Grain inside over grain outside. */
  readonly ratio: number;
  /** True where the performer without grain was taken away first; else the ratio is a rough one. */
  readonly sure: boolean;
}

/** `bare`: luma of the join rendered without its air step, or null. */
export function readGrain(f: SeenFrame, luma: Float32Array, bare: Float32Array | null): GrainReading | null {
  if (f.box === null) return null;
  const out = outsideGrain(f, luma);
  if (out === null || out < 1e-4) return null;
  if (bare !== null) {
    const rest = new Float32Array(luma.length);
    for (let i = 0; i < luma.length; i++) rest[i] = luma[i]! - bare[i]!;
    const inside = blockSigmas(halve(rest, f, f.box), (l) => l > 0.98, 1);
    // Every block inside is bare grain now, and what the encoder left of the fur: the quieter ones count, as outside.
    if (inside.length >= 60) return { ratio: quantile(inside, 0.08) / out, sure: true };
  }
  const inside = blockSigmas(halve(luma, f, f.box), (l) => l > 0.97, 1);
  if (inside.length < 150) return null;
  return { ratio: quantile(inside, 0.01) / out, sure: false };
}

/** Ratio of edge spread inside to that of the plate about it. */
export function readBlur(f: SeenFrame, luma: Float32Array): number | null {
  if (f.box === null) return null;
  const { width: W, height: H } = f.join;
  const inside = new Uint8Array(W * H), outside = new Uint8Array(W * H);
  for (let i = 0; i < W * H; i++) { inside[i] = f.matte[i]! > 0.9 ? 1 : 0; outside[i] = f.matte[i]! < 0.02 ? 1 : 0; }
  const b = f.box;
  const a = edgeSigma(luma, W, H, { x0: b[0], y0: b[1], x1: b[2], y1: b[3] }, inside);
  const plateLuma = new Float32Array(W * H);
  for (let i = 0; i < W * H; i++) plateLuma[i] = lumaAt(f.plate, i);
  const [x0, y0, x1, y1] = grow(b, b[3] - b[1], 0.5 * (b[3] - b[1]), W, H);
  const o = edgeSigma(plateLuma, W, H, { x0, y0, x1, y1 }, outside);
  return a === null || o === null ? null : a.sigmaPx / o.sigmaPx;
}
