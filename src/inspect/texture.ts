/**
 * Grain and sharpness inside the performer against the plate about it.
 *
 * Grain: the sd of a high-pass (Immerkær, "Fast noise variance estimation", CVIU 64, 1996: the difference of two Laplacians,
 * blind to planes and parabolas) in small blocks; fur and brick raise it in most blocks, so the quietest blocks are compared,
 * inside and outside at like levels of brightness. Where neighbouring frames show the same thing, their difference is quieter
 * still and is taken instead.
 */
import { edgeSigma } from '../take/sharpness.js';
import { grow, lumaAt, quantile, type SeenFrame } from './frame.js';

const BLOCK = 6;
/** Share of the blocks, the quietest, that is taken for flat. */
const QUIET = 0.12;

interface Blocks { readonly inside: { level: number; sigma: number }[]; readonly outside: { level: number; sigma: number }[] }

/** Immerkær mask over one block of `luma` (sd of the pixel noise), the block's corner at (x, y). */
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

function blocksOf(f: SeenFrame, luma: Float32Array, still: Float32Array | null): Blocks {
  const { width: W, height: H } = f.join;
  const inside: { level: number; sigma: number }[] = [], outside: { level: number; sigma: number }[] = [];
  const b = f.box!;
  const [x0, y0, x1, y1] = grow(b, 1.2 * (b[3] - b[1]), 0.5 * (b[3] - b[1]), W, H);
  for (let y = y0; y + BLOCK <= y1; y += BLOCK / 2) {
    for (let x = x0; x + BLOCK <= x1; x += BLOCK / 2) {
      let low = 1, high = 0, level = 0;
      for (let j = 0; j < BLOCK; j++) for (let i = 0; i < BLOCK; i++) {
        const a = f.matte[(y + j) * W + x + i]!;
        if (a < low) low = a;
        if (a > high) high = a;
        level += luma[(y + j) * W + x + i]!;
      }
      const where = low > 0.97 ? inside : high < 0.02 ? outside : null;
      if (where === null) continue;
      level /= BLOCK * BLOCK;
      if (level < 0.04 || level > 0.95) continue;
      let sigma = blockSigma(luma, W, x, y);
      if (still !== null) sigma = Math.min(sigma, blockSigma(still, W, x, y) / Math.SQRT2);
      where.push({ level, sigma });
    }
  }
  return { inside, outside };
}

/** Ratio of grain inside to outside; null where too little of either is flat. `before`: luma of the frame before, for still pictures. */
export function readGrain(f: SeenFrame, luma: Float32Array, before: Float32Array | null): number | null {
  if (f.box === null) return null;
  let still: Float32Array | null = null;
  if (before !== null) { still = new Float32Array(luma.length); for (let i = 0; i < luma.length; i++) still[i] = luma[i]! - before[i]!; }
  const { inside, outside } = blocksOf(f, luma, still);
  if (inside.length < 40 || outside.length < 40) return null;
  const quiet = inside.sort((a, b) => a.sigma - b.sigma).slice(0, Math.max(12, Math.floor(QUIET * inside.length)));
  const levels = quiet.map((q) => q.level);
  const low = quantile(levels, 0.1) - 0.12, high = quantile(levels, 0.9) + 0.12;
  let like = outside.filter((o) => o.level >= low && o.level <= high);
  if (like.length < 40) like = outside;
  const calm = like.sort((a, b) => a.sigma - b.sigma).slice(0, Math.max(12, Math.floor(QUIET * like.length)));
  const a = quantile(quiet.map((q) => q.sigma), 0.5), b = quantile(calm.map((q) => q.sigma), 0.5);
  return b > 1e-4 ? a / b : null;
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
