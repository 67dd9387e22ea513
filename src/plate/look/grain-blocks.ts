/**
 * What a block of two neighbouring frames tells of grain: level, variance in time and about a plane, and whether
 * it moves. The luma difference is regressed on the smoothed gradient, and a shift that stands well out of its
 * own standard error is taken off to first order.
 */
import type { Picture } from '../../image/picture.js';
import { blockMeans, changeOf, lightBetween, type BlockMeans } from '../light/light-between.js';

/** Side of a block, px. */
export const BLOCK = 16;
const N = BLOCK * BLOCK;
/** Residual variance of a plane fit on BLOCK² pixels keeps this share of white noise. */
const PLANE_SHARE = (BLOCK * BLOCK - 3) / (BLOCK * BLOCK);

/** A change of the whole picture's light below this, coded, is left: half an 8-bit step. */
const LEAST_CHANGE = 0.5 / 255;

/** Puts b in the light of a, where it changed between them (a fade, a lamp that flickers): that is no grain. */
function sameLight(a: readonly Float32Array[], b: Float32Array[], w: number, h: number): void {
  const of = (p: readonly Float32Array[]): BlockMeans => blockMeans([p[0]!, p[1]!, p[2]!], w, h, BLOCK);
  const change = lightBetween(of(a), of(b));
  if (change === null || changeOf(change) < LEAST_CHANGE) return;
  const { gain, offset } = change;
  for (let c = 0; c < 3; c++) b[c] = b[c]!.map((v) => (v - offset[c]!) / gain[c]!);
  const [r, g, bl] = b as [Float32Array, Float32Array, Float32Array];
  b[3] = r.map((v, i) => 0.2126 * v + 0.7152 * g[i]! + 0.0722 * bl[i]!);
}

/** R, G, B and luma of two frames, height × width each, coded 0..1. */
export interface FramePair {
  readonly a: readonly Float32Array[];
  readonly b: readonly Float32Array[];
  /** Second less first. */
  readonly difference: readonly Float32Array[];
  /** The first about each block's own plane; filled block by block. */
  readonly residual: readonly Float32Array[];
  readonly w: number;
  readonly h: number;
}

/**
 * The pair with the second frame moved back by the picture's own whole-pixel shift and put in the first one's light.
 */
export function framePair(a: Picture, b: Picture, mx: number, my: number): FramePair {
  const { width: w, height: h } = a;
  const n = w * h;
  const pa = channelsOf(a);
  const pb = channelsOf(b);
  if (mx !== 0 || my !== 0) for (let c = 0; c < 4; c++) pb[c] = movedBack(pb[c]!, w, h, mx, my);
  sameLight(pa, pb, w, h);
  const difference = pa.map((p, c) => {
    const q = pb[c]!;
    const d = new Float32Array(n);
    for (let i = 0; i < n; i++) d[i] = q[i]! - p[i]!;
    return d;
  });
  return { a: pa, b: pb, difference, residual: pa.map(() => new Float32Array(n)), w, h };
}

function channelsOf(p: Picture): Float32Array[] {
  const n = p.width * p.height;
  const r = p.data.subarray(0, n);
  const g = p.data.subarray(n, 2 * n);
  const bb = p.data.subarray(2 * n, 3 * n);
  const y = new Float32Array(n);
  for (let i = 0; i < n; i++) y[i] = 0.2126 * r[i]! + 0.7152 * g[i]! + 0.0722 * bb[i]!;
  return [r, g, bb, y];
}

function movedBack(q: Float32Array, w: number, h: number, mx: number, my: number): Float32Array {
  const moved = new Float32Array(w * h);
  for (let y = 0; y < h; y++) {
    const yy = Math.max(0, Math.min(h - 1, y + my));
    for (let x = 0; x < w; x++) moved[y * w + x] = q[yy * w + Math.max(0, Math.min(w - 1, x + mx))]!;
  }
  return moved;
}

/** A block's sums by channel. */
export interface BlockSums {
  readonly level: Float64Array;
  /** Half the variance of the difference in time; about a plane; and the mean difference. */
  readonly variance: Float64Array;
  readonly flatVariance: Float64Array;
  readonly means: Float64Array;
  /** Variance about a plane of red less green, red less blue and green less blue. */
  readonly apart: Float64Array;
  /** Pixels whose luma repeats to the bit. */
  zeros: number;
  /** Near the ends of the scale the grain is cut off. */
  clipped: boolean;
}

/** Sums of the block whose corner is (x0, y0); its residual about the plane goes into the pair's. */
export function blockSums(pair: FramePair, x0: number, y0: number): BlockSums {
  const sums: BlockSums = {
    level: new Float64Array(4),
    variance: new Float64Array(4),
    flatVariance: new Float64Array(4),
    means: new Float64Array(4),
    apart: new Float64Array(3),
    zeros: 0,
    clipped: false,
  };
  for (let c = 0; c < 4; c++) addChannel(pair, c, x0, y0, sums);
  addApart(pair, x0, y0, sums);
  return sums;
}

/** A difference of channels about its plane is the difference of their residuals. */
function addApart(pair: FramePair, x0: number, y0: number, sums: BlockSums): void {
  const [r, g, b] = pair.residual as readonly [Float32Array, Float32Array, Float32Array];
  let rg = 0;
  let rb = 0;
  let gb = 0;
  for (let y = 0; y < BLOCK; y++)
    for (let x = 0, i = (y0 + y) * pair.w + x0; x < BLOCK; x++, i++) {
      const u = r[i]! - g[i]!;
      const v = g[i]! - b[i]!;
      rg += u * u;
      gb += v * v;
      rb += (u + v) * (u + v);
    }
  sums.apart.set([rg, rb, gb].map((v) => v / (N * PLANE_SHARE)));
}

function addChannel(pair: FramePair, c: number, x0: number, y0: number, sums: BlockSums): void {
  const { w } = pair;
  const p = pair.a[c]!;
  const q = pair.b[c]!;
  const d = pair.difference[c]!;
  let s = 0;
  let sd = 0;
  let sdd = 0;
  let sx = 0;
  let sy = 0;
  let lo = 1;
  let hi = 0;
  for (let y = 0; y < BLOCK; y++) {
    for (let x = 0, i = (y0 + y) * w + x0; x < BLOCK; x++, i++) {
      const v = p[i]!;
      s += v + q[i]!;
      sx += v * (x - 7.5);
      sy += v * (y - 7.5);
      if (v < lo) lo = v;
      if (v > hi) hi = v;
      const e = d[i]!;
      sd += e;
      sdd += e * e;
      if (c === 3 && Math.abs(e) < 1e-5) sums.zeros++;
    }
  }
  sums.level[c] = s / (2 * N);
  sums.means[c] = sd / N;
  sums.variance[c] = sdd / (2 * N);
  const gx = sx / (N * 21.25);
  const gy = sy / (N * 21.25);
  let m = 0;
  for (let y = 0; y < BLOCK; y++) for (let x = 0, i = (y0 + y) * w + x0; x < BLOCK; x++, i++) m += p[i]!;
  m /= N;
  let rr = 0;
  const out = pair.residual[c]!;
  for (let y = 0; y < BLOCK; y++)
    for (let x = 0, i = (y0 + y) * w + x0; x < BLOCK; x++, i++) {
      const e = p[i]! - m - gx * (x - 7.5) - gy * (y - 7.5);
      out[i] = e;
      rr += e * e;
    }
  sums.flatVariance[c] = rr / (N * PLANE_SHARE);
  if (lo <= 0.004 || hi >= 0.996) sums.clipped = true;
}

/**
 * Takes off what shift a block has left. Returns how far it was shifted, px; 0 where that
 * does not stand out of its standard error.
 * @param wider grain that hangs together over an area of A pixels makes that error √A times the white one
 */
export function takeOffShift(pair: FramePair, x0: number, y0: number, sums: BlockSums, wider: number): number {
  const { w } = pair;
  const ya = pair.a[3]!;
  const yb = pair.b[3]!;
  // A shift of s pixels gives d = -s · gradient.
  let gxx = 0;
  let gyy = 0;
  let gxy = 0;
  let gxd = 0;
  let gyd = 0;
  const d3 = pair.difference[3]!;
  for (let y = 1; y < BLOCK - 1; y++)
    for (let x = 1, i = (y0 + y) * w + x0 + 1; x < BLOCK - 1; x++, i++) {
      const gx = (ya[i + 1]! - ya[i - 1]! + yb[i + 1]! - yb[i - 1]!) / 4;
      const gy = (ya[i + w]! - ya[i - w]! + yb[i + w]! - yb[i - w]!) / 4;
      gxx += gx * gx;
      gyy += gy * gy;
      gxy += gx * gy;
      gxd += gx * d3[i]!;
      gyd += gy * d3[i]!;
    }
  const det = gxx * gyy - gxy * gxy;
  if (!(det > 1e-12)) return 0;
  const sx = (gxd * gyy - gyd * gxy) / det;
  const sy = (gyd * gxx - gxd * gxy) / det;
  const v = sums.variance[3]! * 2;
  const error = wider * Math.sqrt((v * Math.max(gxx, gyy)) / det);
  const left = Math.hypot(sx, sy);
  if (!(left > 4 * error)) return 0;
  for (let c = 0; c < 4; c++) sums.variance[c] = shiftTakenOff(pair, c, x0, y0, sx, sy);
  return left;
}

/** Takes a shift of (sx, sy) px off a channel's difference; half the variance of what is left. */
function shiftTakenOff(pair: FramePair, c: number, x0: number, y0: number, sx: number, sy: number): number {
  const { w, h } = pair;
  const p = pair.a[c]!;
  const q = pair.b[c]!;
  const d = pair.difference[c]!;
  let dd = 0;
  for (let y = 0; y < BLOCK; y++)
    for (let x = 0, i = (y0 + y) * w + x0; x < BLOCK; x++, i++) {
      const xa = x0 + x > 0 ? i - 1 : i;
      const xb = x0 + x < w - 1 ? i + 1 : i;
      const ya2 = y0 + y > 0 ? i - w : i;
      const yb2 = y0 + y < h - 1 ? i + w : i;
      const e = d[i]! - (sx * (p[xb]! - p[xa]! + q[xb]! - q[xa]!) + sy * (p[yb2]! - p[ya2]! + q[yb2]! - q[ya2]!)) / 4;
      d[i] = e;
      dd += e * e;
    }
  return dd / (2 * BLOCK * BLOCK);
}
