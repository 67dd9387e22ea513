/**
 * A small correction of a registration: the affine motion that brings a picture, already nearly in place, onto a
 * template where both are to be trusted. Inverse compositional Gauss-Newton (S. Baker, I. Matthews, "Lucas-Kanade 20
 * years on", IJCV 56, 2004) with gain and offset of the light solved beside it, Tukey weights (scale from the median),
 * and a prior that holds the correction at zero where the picture shows nothing to go by. Planes height × width of
 * display-coded luma; lengths in pixels.
 */
import { solveCholesky } from '../../geometry/linear-solve.js';
import type { Mat3 } from '../../geometry/mat3.js';
import { IDENTITY3 } from '../../geometry/mat3.js';
import { blurPlane } from '../../image/gaussian.js';
import { sampleBilinear } from '../../image/sampling.js';
import { median } from '../../image/statistics.js';

export interface LocalFit {
  /** Template pixels → picture pixels. */
  readonly matrix: Mat3;
  /** Robust sd of what is left, coded luma, before and after. */
  readonly before: number;
  readonly after: number;
}

export interface LocalFitOptions {
  /** How far a correction is believed, px. Default 1. */
  readonly reachPx?: number;
  /** Most points looked at. Default 12000. */
  readonly points?: number;
  /** Only shifts, no change of shape. Default false. */
  readonly shiftOnly?: boolean;
}

const NONE: LocalFit = { matrix: IDENTITY3, before: 0, after: 0 };
/** Sd of the blur before gradients are taken, px. */
const BLUR = 0.9;
/** Fewer points than this tell nothing. */
const LEAST_POINTS = 200;
/** Least robust sd taken of what is left, coded luma. */
const LEAST_SIGMA = 0.002;
const ITERATIONS = 12;
/** Steps smaller than this end the search, px. */
const SMALL_STEP = 0.004;

/** Template points that are compared, about their middle (cx, cy), in units of their spread s. */
interface Points {
  readonly cx: number;
  readonly cy: number;
  readonly s: number;
  /** Of each point: place, template value, and its row of P of the Jacobian (motion, gain, offset). */
  readonly u: Float64Array;
  readonly v: Float64Array;
  readonly value: Float64Array;
  readonly jacobian: Float64Array;
  readonly count: number;
  /** Unknowns: 4 for shifts, 8 for affine motion. */
  readonly P: 4 | 8;
}

/** What is sought: displacement a[0..2] · (1, u, v), a[3..5] · (1, u, v), and the light's gain and offset. */
interface Sought {
  readonly a: Float64Array;
  gain: number;
  bias: number;
}

/**
 * Fits `picture` to `template` where `weight` is over a half. The identity where too little is to be seen or the fit
 * does not help.
 */
export function fitLocally(
  template: Float32Array,
  picture: Float32Array,
  weight: Float32Array,
  width: number,
  height: number,
  options: LocalFitOptions = {},
): LocalFit {
  const reach = options.reachPx ?? 1,
    blurred = blurPlane(template, width, height, BLUR),
    seen = blurPlane(picture, width, height, BLUR),
    at = spread(trusted(weight, width, height), options.points ?? 12000);
  if (at === null) return NONE;
  const points = pointsOf(blurred, width, at, options.shiftOnly === true ? 4 : 8),
    now: Sought = { a: new Float64Array(6), gain: 1, bias: 0 },
    residual = new Float64Array(points.count),
    left = (): number => leftOver(points, now, seen, width, height, residual);
  // Light first, at the start: gain and offset by the medians.
  const atFirst = left();
  now.bias = median(residual);
  const before = Math.min(atFirst, left());
  for (let iteration = 0; iteration < ITERATIONS; iteration++) {
    const step = stepFrom(points, now, residual, Math.max(LEAST_SIGMA, left()), reach);
    if (step === null) break;
    take(now, step);
    let way = 0;
    for (let i = 0; i < points.P - 2; i++) way = Math.max(way, Math.abs(step[i]!));
    if (way < SMALL_STEP) break;
  }
  const after = left();
  let far = 0;
  for (const v of now.a) far = Math.max(far, Math.abs(v));
  if (!(after < before) || far > 6 * reach || !Number.isFinite(far)) return { ...NONE, before, after: before };
  return { matrix: matrixOf(now.a, points), before, after };
}

/** Pixels to be trusted with all that their gradients read, and the middle of them. */
function trusted(
  weight: Float32Array,
  width: number,
  height: number,
): { readonly at: readonly number[]; readonly cx: number; readonly cy: number } {
  const at: number[] = [];
  let sx = 0,
    sy = 0;
  for (let y = 2; y < height - 2; y++)
    for (let x = 2; x < width - 2; x++) {
      const i = y * width + x;
      if (
        weight[i]! > 0.5 &&
        weight[i - 2]! > 0.5 &&
        weight[i + 2]! > 0.5 &&
        weight[i - 2 * width]! > 0.5 &&
        weight[i + 2 * width]! > 0.5
      ) {
        at.push(i);
        sx += x;
        sy += y;
      }
    }
  return { at, cx: sx / at.length, cy: sy / at.length };
}

/** At most `most` of the pixels, evenly; null where they are too few. */
function spread(
  { at, cx, cy }: ReturnType<typeof trusted>,
  most: number,
): { readonly chosen: readonly number[]; readonly cx: number; readonly cy: number } | null {
  if (at.length < LEAST_POINTS) return null;
  const every = Math.max(1, at.length / most);
  const chosen: number[] = [];
  for (let k = 0; k < at.length; k += every) chosen.push(at[Math.floor(k)]!);
  return { chosen, cx, cy };
}

function pointsOf(
  template: Float32Array,
  width: number,
  { chosen, cx, cy }: NonNullable<ReturnType<typeof spread>>,
  P: Points['P'],
): Points {
  const count = chosen.length,
    u = new Float64Array(count),
    v = new Float64Array(count),
    value = new Float64Array(count),
    jacobian = new Float64Array(count * P);
  let squares = 0;
  for (const i of chosen) squares += ((i % width) - cx) ** 2 + (Math.floor(i / width) - cy) ** 2;
  const s = Math.max(4, Math.sqrt(squares / count));
  for (let k = 0; k < count; k++) {
    const i = chosen[k]!,
      x = i % width,
      y = (i - x) / width,
      t = template[i]!;
    const gx = 0.5 * (template[i + 1]! - template[i - 1]!),
      gy = 0.5 * (template[i + width]! - template[i - width]!);
    const uk = (x - cx) / s,
      vk = (y - cy) / s;
    u[k] = uk;
    v[k] = vk;
    value[k] = t;
    jacobian.set(P === 8 ? [gx, gx * uk, gx * vk, gy, gy * uk, gy * vk, t, 1] : [gx, gy, t, 1], k * P);
  }
  return { cx, cy, s, u, v, value, jacobian, count, P };
}

/** What is left over at every point, into `residual`; its robust sd. */
function leftOver(
  { cx, cy, s, u, v, value, count }: Points,
  { a, gain, bias }: Sought,
  picture: Float32Array,
  width: number,
  height: number,
  residual: Float64Array,
): number {
  for (let k = 0; k < count; k++) {
    const x = cx + s * u[k]! + a[0]! + a[1]! * u[k]! + a[2]! * v[k]!,
      y = cy + s * v[k]! + a[3]! + a[4]! * u[k]! + a[5]! * v[k]!;
    residual[k] = sampleBilinear(picture, width, height, x + 0.5, y + 0.5) - gain * value[k]! - bias;
  }
  return 1.4826 * median(residual.map(Math.abs));
}

/** The next step of motion, gain and offset, by Tukey weights and the prior; null where it has none. */
function stepFrom(
  { jacobian, count, P }: Points,
  { a, gain, bias }: Sought,
  residual: Float64Array,
  sigma: number,
  reach: number,
): Float64Array | null {
  const c = 4.685 * sigma,
    A = new Float64Array(P * P),
    b = new Float64Array(P);
  for (let k = 0; k < count; k++) {
    const r = residual[k]!;
    if (Math.abs(r) >= c) continue;
    const w = (1 - (r / c) ** 2) ** 2;
    const o = k * P;
    for (let i = 0; i < P; i++) {
      const ji = w * jacobian[o + i]!;
      b[i] = b[i]! + ji * r;
      for (let j = i; j < P; j++) A[i * P + j] = A[i * P + j]! + ji * jacobian[o + j]!;
    }
  }
  // Priors: px and px a radius; the light's gain within a tenth, its offset within a twentieth.
  const sds = P === 8 ? [reach, reach, reach, reach, reach, reach, 0.1, 0.05] : [reach, reach, 0.1, 0.05];
  const held = P === 8 ? [...a, gain - 1, bias] : [a[0]!, a[3]!, gain - 1, bias];
  // Neighbouring pixels share their noise, so the points count for fewer.
  const k2 = 25 * sigma * sigma;
  for (let i = 0; i < P; i++) {
    A[i * P + i] = A[i * P + i]! + k2 / sds[i]! ** 2;
    const sign = i >= P - 2 ? 1 : -1;
    b[i] = b[i]! - (sign * k2 * held[i]!) / sds[i]! ** 2;
    for (let j = 0; j < i; j++) A[i * P + j] = A[j * P + i]!;
  }
  return solveCholesky(A, b, P);
}

/** Goes the step: the motion is that of the template, the light that of the picture. */
function take(now: Sought, step: Float64Array): void {
  const P = step.length,
    { a } = now;
  if (P === 8) for (let i = 0; i < 6; i++) a[i] = a[i]! - step[i]!;
  else {
    a[0] = a[0]! - step[0]!;
    a[3] = a[3]! - step[1]!;
  }
  now.gain += step[P - 2]!;
  now.bias += step[P - 1]!;
}

/** Pixel centres: (x + 0.5) ↦ (x + 0.5) + d, with u, v of the pixel's own place. */
function matrixOf(a: Float64Array, { cx, cy, s }: Points): Mat3 {
  const k = 1 / s,
    ox = (cx + 0.5) * k,
    oy = (cy + 0.5) * k;
  return [
    1 + a[1]! * k,
    a[2]! * k,
    a[0]! - a[1]! * ox - a[2]! * oy,
    a[4]! * k,
    1 + a[5]! * k,
    a[3]! - a[4]! * ox - a[5]! * oy,
    0,
    0,
    1,
  ];
}
