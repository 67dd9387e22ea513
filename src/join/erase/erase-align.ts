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
const BLUR = 0.9;

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
    most = options.points ?? 12000;
  const t = blurPlane(template, width, height, BLUR),
    p = blurPlane(picture, width, height, BLUR);
  const at: number[] = [];
  let sx = 0,
    sy = 0,
    sxx = 0;
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
  if (at.length < 200) return NONE;
  const cx = sx / at.length,
    cy = sy / at.length;
  const every = Math.max(1, at.length / most);
  const chosen: number[] = [];
  for (let k = 0; k < at.length; k += every) chosen.push(at[Math.floor(k)]!);
  for (const i of chosen) sxx += ((i % width) - cx) ** 2 + (Math.floor(i / width) - cy) ** 2;
  const s = Math.max(4, Math.sqrt(sxx / chosen.length));
  const n = chosen.length;
  const P = options.shiftOnly === true ? 4 : 8;
  const jac = new Float64Array(n * P),
    value = new Float64Array(n),
    us = new Float64Array(n),
    vs = new Float64Array(n);
  for (let k = 0; k < n; k++) {
    const i = chosen[k]!;
    const x = i % width,
      y = (i - x) / width;
    const gx = 0.5 * (t[i + 1]! - t[i - 1]!),
      gy = 0.5 * (t[i + width]! - t[i - width]!);
    const u = (x - cx) / s,
      v = (y - cy) / s;
    us[k] = u;
    vs[k] = v;
    value[k] = t[i]!;
    const row = P === 8 ? [gx, gx * u, gx * v, gy, gy * u, gy * v, t[i]!, 1] : [gx, gy, t[i]!, 1];
    jac.set(row, k * P);
  }
  // Displacement (dx, dy) = a[0..2]·(1, u, v), a[3..5]·(1, u, v).
  const a = new Float64Array(6);
  const residual = new Float64Array(n),
    magnitude = new Float64Array(n);
  let gain = 1,
    bias = 0,
    before = -1,
    after = 0;
  const measure = (d: Float64Array): number => {
    for (let k = 0; k < n; k++) {
      const u = us[k]!,
        v = vs[k]!;
      const x = cx + s * u + d[0]! + d[1]! * u + d[2]! * v,
        y = cy + s * v + d[3]! + d[4]! * u + d[5]! * v;
      residual[k] = sampleBilinear(p, width, height, x + 0.5, y + 0.5) - gain * value[k]! - bias;
      magnitude[k] = Math.abs(residual[k]!);
    }
    return 1.4826 * median(magnitude);
  };
  // Light first, at the start: gain and offset by the medians.
  const r0 = measure(a);
  bias = medianOf(residual);
  before = Math.min(r0, measure(a));
  for (let iteration = 0; iteration < 12; iteration++) {
    const sigma = Math.max(0.002, measure(a));
    const c = 4.685 * sigma;
    const A = new Float64Array(P * P),
      b = new Float64Array(P);
    for (let k = 0; k < n; k++) {
      const r = residual[k]!;
      if (Math.abs(r) >= c) continue;
      const w = (1 - (r / c) ** 2) ** 2;
      const o = k * P;
      for (let i = 0; i < P; i++) {
        const ji = w * jac[o + i]!;
        b[i] = b[i]! + ji * r;
        for (let j = i; j < P; j++) A[i * P + j] = A[i * P + j]! + ji * jac[o + j]!;
      }
    }
    // Priors: px and px a radius; the light's gain within a tenth, its offset within a twentieth.
    const sds = P === 8 ? [reach, reach, reach, reach, reach, reach, 0.1, 0.05] : [reach, reach, 0.1, 0.05];
    const held = P === 8 ? [a[0]!, a[1]!, a[2]!, a[3]!, a[4]!, a[5]!, gain - 1, bias] : [a[0]!, a[3]!, gain - 1, bias];
    // Neighbouring pixels share their noise, so the points count for fewer.
    const k2 = 25 * sigma * sigma;
    for (let i = 0; i < P; i++) {
      A[i * P + i] = A[i * P + i]! + k2 / sds[i]! ** 2;
      const sign = i >= P - 2 ? 1 : -1;
      b[i] = b[i]! - (sign * k2 * held[i]!) / sds[i]! ** 2;
      for (let j = 0; j < i; j++) A[i * P + j] = A[j * P + i]!;
    }
    const step = solveCholesky(A, b, P);
    if (step === null) break;
    if (P === 8) for (let i = 0; i < 6; i++) a[i] = a[i]! - step[i]!;
    else {
      a[0] = a[0]! - step[0]!;
      a[3] = a[3]! - step[1]!;
    }
    gain += step[P - 2]!;
    bias += step[P - 1]!;
    let way = 0;
    for (let i = 0; i < P - 2; i++) way = Math.max(way, Math.abs(step[i]!));
    if (way < 0.004) break;
  }
  after = measure(a);
  let far = 0;
  for (const v of a) far = Math.max(far, Math.abs(v));
  if (!(after < before) || far > 6 * reach || !Number.isFinite(far)) return { ...NONE, before, after: before };
  // Pixel centres: (x + 0.5) ↦ (x + 0.5) + d, with u, v of the pixel's own place.
  const k = 1 / s,
    ox = (cx + 0.5) * k,
    oy = (cy + 0.5) * k;
  return {
    matrix: [
      1 + a[1]! * k,
      a[2]! * k,
      a[0]! - a[1]! * ox - a[2]! * oy,
      a[4]! * k,
      1 + a[5]! * k,
      a[3]! - a[4]! * ox - a[5]! * oy,
      0,
      0,
      1,
    ],
    before,
    after,
  };
}

function medianOf(v: Float64Array): number {
  return median(v);
}
