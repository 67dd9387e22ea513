/**
 * A Gaussian mixture of colours: clusters split along their widest direction (M. Orchard & C. Bouman, "Color
 * quantization of images", IEEE Trans. Signal Processing 39, 1991), then settled by expectation maximisation (A.
 * Dempster, N. Laird & D. Rubin, JRSS B 39, 1977). Three values a sample, planar.
 */
import { invert, type Mat3 } from '../../geometry/mat3.js';

interface Part {
  readonly share: number;
  readonly mean: readonly [number, number, number];
  /** Inverse covariance. */
  readonly inverse: Mat3;
  /** Logarithm of the density's factor and the share. */
  readonly log: number;
  readonly covariance: readonly number[];
}
export interface ColourMixture {
  readonly parts: readonly Part[];
}

/** Variance that any cluster has: coding and grain of a small picture. */
const LEAST_VARIANCE = 1e-4;
/** Samples beyond which every k-th is taken. */
const MOST_SAMPLES = 6000;
const TURNS = 4;

function partOf(sum: Float64Array): Part | null {
  const k = sum[0]!;
  if (!(k > 8)) return null;
  const m = [sum[1]! / k, sum[2]! / k, sum[3]! / k] as const;
  const c = (a: number, at: number, b: number): number => sum[at]! / k - m[a]! * m[b]!;
  const xx = c(0, 4, 0) + LEAST_VARIANCE,
    xy = c(0, 5, 1),
    xz = c(0, 6, 2),
    yy = c(1, 7, 1) + LEAST_VARIANCE,
    yz = c(1, 8, 2),
    zz = c(2, 9, 2) + LEAST_VARIANCE;
  const det = xx * (yy * zz - yz * yz) - xy * (xy * zz - yz * xz) + xz * (xy * yz - yy * xz);
  return {
    share: k,
    mean: m,
    inverse: invert([xx, xy, xz, xy, yy, yz, xz, yz, zz]),
    log: -0.5 * Math.log(Math.max(1e-18, det)),
    covariance: [xx, xy, xz, yy, yz, zz],
  };
}

function add(sum: Float64Array, k: number, a: number, b: number, c: number): void {
  sum[0]! += k;
  sum[1]! += k * a;
  sum[2]! += k * b;
  sum[3]! += k * c;
  sum[4]! += k * a * a;
  sum[5]! += k * a * b;
  sum[6]! += k * a * c;
  sum[7]! += k * b * b;
  sum[8]! += k * b * c;
  sum[9]! += k * c * c;
}

/** Direction in which a cluster is widest, by power iteration, and its variance there. */
function widest(c: readonly number[]): { axis: [number, number, number]; variance: number } {
  let v: [number, number, number] = [1, 0.7, 0.5],
    l = 0;
  for (let t = 0; t < 12; t++) {
    const x = c[0]! * v[0] + c[1]! * v[1] + c[2]! * v[2],
      y = c[1]! * v[0] + c[3]! * v[1] + c[4]! * v[2],
      z = c[2]! * v[0] + c[4]! * v[1] + c[5]! * v[2];
    l = Math.hypot(x, y, z);
    if (l < 1e-12) break;
    v = [x / l, y / l, z / l];
  }
  return { axis: v, variance: l };
}

/** Mixture of the samples with a weight above 0; null where there are too few. */
export function colourMixture(
  data: Float32Array,
  n: number,
  weight: ArrayLike<number>,
  count: number,
): ColourMixture | null {
  let total = 0;
  for (let i = 0; i < n; i++) if (weight[i]! > 0) total++;
  const every = Math.max(1, Math.floor(total / MOST_SAMPLES)),
    samples: number[] = [];
  for (let i = 0, k = 0; i < n; i++) if (weight[i]! > 0 && k++ % every === 0) samples.push(i);
  const owner = new Uint8Array(samples.length);
  const sumsOf = (parts: number): Float64Array[] => {
    const s = Array.from({ length: parts }, () => new Float64Array(10));
    samples.forEach((i, j) => add(s[owner[j]!]!, weight[i]!, data[i]!, data[n + i]!, data[2 * n + i]!));
    return s;
  };
  let parts = sumsOf(1).map(partOf);
  if (parts[0] === null) return null;
  while (parts.length < count) {
    let at = -1,
      most = 4 * LEAST_VARIANCE;
    parts.forEach((p, k) => {
      if (p !== null && p.share > 30) {
        const v = widest(p.covariance).variance;
        if (v > most) {
          most = v;
          at = k;
        }
      }
    });
    if (at < 0) break;
    const p = parts[at]!,
      { axis } = widest(p.covariance),
      level = axis[0] * p.mean[0] + axis[1] * p.mean[1] + axis[2] * p.mean[2];
    samples.forEach((i, j) => {
      if (owner[j] === at && axis[0] * data[i]! + axis[1] * data[n + i]! + axis[2] * data[2 * n + i]! > level)
        owner[j] = parts.length;
    });
    parts = sumsOf(parts.length + 1).map(partOf);
  }
  let found = parts.filter((p): p is Part => p !== null);
  for (let turn = 0; turn < TURNS; turn++) {
    const sums = found.map(() => new Float64Array(10)),
      all = found.reduce((s, p) => s + p.share, 0),
      odds = new Float64Array(found.length);
    for (const i of samples) {
      let top = -Infinity,
        sum = 0;
      found.forEach((p, k) => {
        odds[k] = p.log + Math.log(p.share / all) - 0.5 * apart(p, data[i]!, data[n + i]!, data[2 * n + i]!);
        if (odds[k]! > top) top = odds[k]!;
      });
      for (let k = 0; k < odds.length; k++) {
        odds[k] = Math.exp(odds[k]! - top);
        sum += odds[k]!;
      }
      for (let k = 0; k < odds.length; k++)
        if (odds[k]! > 1e-3 * sum)
          add(sums[k]!, (weight[i]! * odds[k]!) / sum, data[i]!, data[n + i]!, data[2 * n + i]!);
    }
    found = sums.map(partOf).filter((p): p is Part => p !== null);
  }
  if (found.length === 0) return null;
  const all = found.reduce((s, p) => s + p.share, 0);
  return { parts: found.map((p) => ({ ...p, log: p.log + Math.log(p.share / all) })) };
}

function apart(p: Part, a: number, b: number, c: number): number {
  const x = a - p.mean[0],
    y = b - p.mean[1],
    z = c - p.mean[2],
    m = p.inverse;
  return x * (m[0] * x + 2 * m[1] * y + 2 * m[2] * z) + y * (m[4] * y + 2 * m[5] * z) + m[8] * z * z;
}

/** Logarithm of the mixture's density, without its constant. */
export function logDensity(mixture: ColourMixture, a: number, b: number, c: number): number {
  let top = -Infinity,
    sum = 0;
  for (const p of mixture.parts) {
    const l = p.log - 0.5 * apart(p, a, b, c);
    if (l > top) {
      sum = sum * Math.exp(top - l) + 1;
      top = l;
    } else sum += Math.exp(l - top);
  }
  return top + Math.log(sum);
}
