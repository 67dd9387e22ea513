/**
 * Grain inside the performer against the plate about it: the sd of a high-pass (Immerkær, "Fast noise variance
 * estimation", CVIU 64, 1996: the difference of two Laplacians, blind to planes and parabolas) in small blocks of the
 * picture halved in size, because film grain and what an encoder leaves of it are larger than a pixel. Fur and brick
 * raise it in most blocks, so the quietest are compared. Where the performer without its grain is at hand (the recipe
 * rendered again without the air step), it is taken away first, and with it the fur.
 */
import { createPicture } from '../../image/picture.js';
import { grower } from '../../join/air/grain.js';
import type { GrainModel } from '../../join/types.js';
import { grow, quantile, type SeenFrame } from '../reader/frame.js';

/** Cells a block's side, in the halved picture. */
export const BLOCK = 5;

/** Immerkær mask over one block of `luma` (sd of the noise), the block's corner at (x, y). */
export function blockSigma(luma: Float32Array, width: number, x: number, y: number): number {
  let sum = 0,
    n = 0;
  for (let j = y + 1; j < y + BLOCK - 1; j++) {
    for (let i = x + 1; i < x + BLOCK - 1; i++) {
      const o = j * width + i;
      const v =
        luma[o - width - 1]! -
        2 * luma[o - width]! +
        luma[o - width + 1]! -
        2 * luma[o - 1]! +
        4 * luma[o]! -
        2 * luma[o + 1]! +
        luma[o + width - 1]! -
        2 * luma[o + width]! +
        luma[o + width + 1]!;
      sum += Math.abs(v);
      n++;
    }
  }
  return (Math.sqrt(Math.PI / 2) * sum) / (6 * n);
}

export interface Halved {
  readonly width: number;
  readonly height: number;
  readonly luma: Float32Array;
  readonly low: Float32Array;
  readonly high: Float32Array;
  /** Where the part begins in the whole picture, px of that. */
  readonly x0: number;
  readonly y0: number;
}

/** Part of a frame halved: mean luma, least and most alpha of each cell. */
export function halve(luma: Float32Array, f: SeenFrame, box: readonly [number, number, number, number]): Halved {
  const W = f.join.width;
  const w = (box[2] - box[0]) >> 1,
    h = (box[3] - box[1]) >> 1;
  const out = new Float32Array(w * h),
    low = new Float32Array(w * h),
    high = new Float32Array(w * h);
  for (let y = 0; y < h; y++) {
    for (let x = 0; x < w; x++) {
      const i = (box[1] + 2 * y) * W + box[0] + 2 * x;
      const a = f.matte[i]!,
        b = f.matte[i + 1]!,
        c = f.matte[i + W]!,
        d = f.matte[i + W + 1]!;
      out[y * w + x] = (luma[i]! + luma[i + 1]! + luma[i + W]! + luma[i + W + 1]!) / 4;
      low[y * w + x] = Math.min(a, b, c, d);
      high[y * w + x] = Math.max(a, b, c, d);
    }
  }
  return { width: w, height: h, luma: out, low, high, x0: box[0], y0: box[1] };
}

interface Blocks {
  readonly sigma: number[];
  readonly level: number[];
}

/** sd of blocks where every cell's alpha lies between the two, and the level of `at` there; `step` in cells. */
function blockSigmas(p: Halved, least: number, most: number, step: number, at: Float32Array = p.luma): Blocks {
  const out: Blocks = { sigma: [], level: [] };
  for (let y = 0; y + BLOCK <= p.height; y += step) {
    for (let x = 0; x + BLOCK <= p.width; x += step) {
      let ok = true;
      for (let j = 0; j < BLOCK && ok; j++)
        for (let i = 0; i < BLOCK; i++) {
          const o = (y + j) * p.width + x + i;
          if (p.low[o]! < least || p.high[o]! > most) {
            ok = false;
            break;
          }
        }
      if (!ok) continue;
      out.sigma.push(blockSigma(p.luma, p.width, x, y));
      out.level.push(at[(y + (BLOCK >> 1)) * p.width + x + (BLOCK >> 1)]!);
    }
  }
  return out;
}

/** Below this, sd of coded luma, a block is one value throughout. */
const FLAT = 1e-5;

/** Every so many cells a block is read outside; and cells from which on half as many blocks a side tell as well. */
const OUT_STEP = 2,
  MANY = 200_000;

/** Blocks of the picture outside the performer; null where too few are seen. */
export function outsideBlocks(f: SeenFrame): Blocks | null {
  const b = f.box!;
  const box = grow(b, 1.5 * (b[3] - b[1]), 0.7 * (b[3] - b[1]), f.join.width, f.join.height);
  const part = halve(f.luma, f, box),
    all = blockSigmas(part, 0, 0.02, part.width * part.height > MANY ? 2 * OUT_STEP : OUT_STEP),
    s: Blocks = { sigma: [], level: [] };
  // Bars beside a film's picture, and what is burnt out, hold no grain to compare with.
  all.sigma.forEach((v, i) => {
    if (v > FLAT) {
      s.sigma.push(v);
      s.level.push(all.level[i]!);
    }
  });
  return s.sigma.length < 100 ? null : s;
}

export interface GrainReading {
  /** Grain inside over grain outside. */
  readonly ratio: number;
  /** Grain outside, sd of coded luma. */
  readonly outside: number;
  /** True where the performer without grain was taken away first; else the ratio is a rough one. */
  readonly sure: boolean;
}

/**
 * Bands of brightness compared apart: film's grain goes with its brightness, so a dark post tells nothing of a bright
 * coat.
 */
const BANDS = 8;
/** Blocks that a band needs on either side to be heard. */
const BAND_OUT = 60,
  BAND_IN = 25;

/**
 * What the plate's measured grain gives in blocks of the halved picture at a level, or null without a measure: a plate
 * whose quietest blocks are still gravel or grass reads rougher than that, and must not pass for grainy.
 */
export type GrainMeasure = (level: number) => number;

/** From the recipe's model: its noise laid on grey, read as any other. */
export function measuredGrain(model: GrainModel): GrainMeasure {
  const side = 160,
    g = grower(model, 1),
    grey = createPicture(side, side, 3).data,
    n = side * side;
  const mean = (curve: Float32Array): number => curve.reduce((a, v) => a + v, 0) / curve.length;
  const usual = 0.2126 * mean(g.curves[0]) + 0.7152 * mean(g.curves[1]) + 0.0722 * mean(g.curves[2]);
  const amount = [0, 1, 2].map((c) => new Float32Array(n).fill(mean(g.curves[c]!)));
  g.add(0, [0, 0, side, side], grey, (c) => amount[c]!);
  const w = side >> 1,
    luma = new Float32Array(w * w),
    all = new Float32Array(w * w).fill(1);
  const at = (i: number): number => 0.2126 * grey[i]! + 0.7152 * grey[n + i]! + 0.0722 * grey[2 * n + i]!;
  for (let y = 0; y < w; y++)
    for (let x = 0; x < w; x++) {
      const i = 2 * y * side + 2 * x;
      luma[y * w + x] = (at(i) + at(i + 1) + at(i + side) + at(i + side + 1)) / 4;
    }
  const unit =
    quantile(blockSigmas({ width: w, height: w, luma, low: all, high: all, x0: 0, y0: 0 }, 0, 1, 2).sigma, 0.08) /
    Math.max(1e-9, usual);
  return (level) => {
    const k = Math.min(63, Math.max(0, Math.round(63 * level)));
    return unit * (0.2126 * g.curves[0][k]! + 0.7152 * g.curves[1][k]! + 0.0722 * g.curves[2][k]!);
  };
}

/**
 * By how much the quietest blocks outside may read over the plate's measured grain before they are texture: its measure
 * reads low under compression.
 */
const OVER_MEASURE = 1.5;

/**
 * Quiet grain inside over outside at like brightness: mean of the bands' logarithms by blocks inside; over all where no
 * band is shared.
 */
function likeRatio(inside: Blocks, outside: Blocks, quiet: number, measure: GrainMeasure | null): number | null {
  const pick = (b: Blocks, k: number): number[] =>
    b.sigma.filter((_, i) => Math.min(BANDS - 1, Math.max(0, Math.floor(BANDS * b.level[i]!))) === k);
  let sum = 0,
    weight = 0;
  for (let k = 0; k < BANDS; k++) {
    const a = pick(inside, k),
      b = pick(outside, k);
    if (a.length < BAND_IN || b.length < BAND_OUT) continue;
    const o = held(quantile(b, 0.08), (k + 0.5) / BANDS, measure);
    if (o < 1e-4) continue;
    sum += a.length * Math.log(Math.max(1e-5, quantile(a, quiet)) / o);
    weight += a.length;
  }
  if (weight >= 0.2 * inside.sigma.length) return Math.exp(sum / weight);
  const o = held(quantile(outside.sigma, 0.08), quantile(outside.level, 0.5), measure);
  return o < 1e-4 ? null : quantile(inside.sigma, quiet) / o;
}

function held(outside: number, level: number, measure: GrainMeasure | null): number {
  return measure === null ? outside : Math.min(outside, Math.max(1e-4, OVER_MEASURE * measure(level)));
}

/**
 * `bare`: luma of the join rendered without its air step, or null; `measure`: the plate's grain as it was measured, or
 * null.
 */
export function readGrain(
  f: SeenFrame,
  bare: Float32Array | null,
  measure: GrainMeasure | null = null,
): GrainReading | null {
  if (f.box === null) return null;
  const out = outsideBlocks(f);
  if (out === null) return null;
  if (bare !== null) {
    const rest = new Float32Array(bare.length);
    for (let i = 0; i < bare.length; i++) rest[i] = f.luma[i]! - bare[i]!;
    // Every block inside is bare grain now, and what the encoder left of the fur: the quieter ones count, as outside.
    const inside = blockSigmas(halve(rest, f, f.box), 0.98, 1, 1, halve(f.luma, f, f.box).luma);
    if (inside.sigma.length >= 60) {
      const ratio = likeRatio(inside, out, 0.08, measure);
      return ratio === null
        ? null
        : { ratio, outside: held(quantile(out.sigma, 0.08), quantile(out.level, 0.5), measure), sure: true };
    }
  }
  const inside = blockSigmas(halve(f.luma, f, f.box), 0.97, 1, 1);
  if (inside.sigma.length < 150) return null;
  const o = held(quantile(out.sigma, 0.08), quantile(out.level, 0.5), measure);
  return o < 1e-4 ? null : { ratio: quantile(inside.sigma, 0.01) / o, outside: o, sure: false };
}
