/**
 * Recursive Gaussian: third-order causal and anticausal filter whose cost does not depend on sigma. I. T. Young, L. J.
 * van Vliet, "Recursive implementation of the Gaussian filter", Signal Processing 44 (1995), with the better poles and
 * the exact-variance scaling of van Vliet, Young & Verbeek, "Recursive Gaussian derivative filters", ICPR 1998 (pole
 * values as given in Getreuer, "A Survey of Gaussian Convolution Algorithms", IPOL 2013; from memory, held by a test
 * against the sampled Gaussian). Ends: the edge pixel repeats for ever; the anticausal filter starts from the state
 * that an endless run would have left there (B. Triggs, M. Sdika, "Boundary conditions for Young-van Vliet recursive
 * filtering", IEEE TSP 2006). We find their matrix by running the homogeneous filter instead of by their closed form.
 * Runs in double precision: for sigma of tens of pixels the gain B is below 1e-4 and floats lose three digits.
 */
import { PlatewrightError } from '../core/errors.js';
import { planeOr, requirePlane } from './boundary.js';
import { KERNEL_FROM_PIXELS, kernels } from './kernels.js';

/** The filter for one sigma. */
export interface RecursiveCoefficients {
  /** Gain of the input. */
  readonly b: number;
  /** u[n] = b x[n] + a1 u[n-1] + a2 u[n-2] + a3 u[n-3]. */
  readonly a1: number;
  readonly a2: number;
  readonly a3: number;
  /**
   * 3×3 row-major: deviations of the last three causal outputs (newest first) → deviations of anticausal outputs at n,
   * n+1, n+2.
   */
  readonly m: Float64Array;
}

/** Poles for unit scale (sigma about 2), order 3: one complex pair and one real. */
const POLE_RE = 1.4165;
const POLE_IM = 1.00829;
const POLE_REAL = 1.86543;

function varianceAt(q: number): number {
  // Variance of the causal-anticausal pair: sum over poles of 2 d / (d - 1)^2.
  const r = Math.hypot(POLE_RE, POLE_IM) ** (1 / q);
  const t = Math.atan2(POLE_IM, POLE_RE) / q;
  const re = r * Math.cos(t);
  const im = r * Math.sin(t);
  // d / (d-1)^2 for complex d; twice its real part for the pair.
  const er = re - 1;
  const sr = er * er - im * im;
  const si = 2 * er * im;
  const den = sr * sr + si * si;
  const pair = (2 * (re * sr + im * si)) / den;
  const d = POLE_REAL ** (1 / q);
  return 2 * (pair + d / ((d - 1) * (d - 1)));
}

/** Filter coefficients for a standard deviation of `sigmaPx` (0.5 px or more). Throws `PW-IMAGE-SIGMA` for less. */
export function recursiveCoefficients(sigmaPx: number): RecursiveCoefficients {
  if (!(sigmaPx >= 0.5) || !Number.isFinite(sigmaPx)) {
    throw new PlatewrightError(
      'PW-IMAGE-SIGMA',
      `the recursive Gaussian needs a sigma of 0.5 px or more, but got ${sigmaPx}; use the direct Gaussian`,
      { kind: 'internal' },
    );
  }
  // Variance grows with q: bisect, which can't fail.
  let lo = 1e-2;
  let hi = 10 * sigmaPx + 10;
  for (let i = 0; i < 80; i++) {
    const mid = 0.5 * (lo + hi);
    if (varianceAt(mid) < sigmaPx * sigmaPx) lo = mid;
    else hi = mid;
  }
  const q = 0.5 * (lo + hi);
  const r = Math.hypot(POLE_RE, POLE_IM) ** (-1 / q);
  const t = Math.atan2(POLE_IM, POLE_RE) / q;
  const d = POLE_REAL ** (-1 / q);
  // (1 - z r e^{it})(1 - z r e^{-it})(1 - z d), with 1/d inside the unit circle.
  const p1 = 2 * r * Math.cos(t);
  const p2 = r * r;
  const a1 = p1 + d;
  const a2 = -(p2 + p1 * d);
  const a3 = p2 * d;
  const b = 1 - a1 - a2 - a3;
  const m = new Float64Array(9);
  const steps = Math.ceil(16 * sigmaPx) + 32;
  const tail = new Float64Array(steps + 3);
  for (let k = 0; k < 3; k++) {
    // Zero input after the end: the causal output decays from the unit deviation k.
    let u1 = k === 0 ? 1 : 0;
    let u2 = k === 1 ? 1 : 0;
    let u3 = k === 2 ? 1 : 0;
    for (let i = 0; i < steps; i++) {
      const u = a1 * u1 + a2 * u2 + a3 * u3;
      tail[i] = u;
      u3 = u2;
      u2 = u1;
      u1 = u;
    }
    let v1 = 0;
    let v2 = 0;
    let v3 = 0;
    for (let i = steps - 1; i >= 0; i--) {
      const v = b * tail[i]! + a1 * v1 + a2 * v2 + a3 * v3;
      v3 = v2;
      v2 = v1;
      v1 = v;
    }
    m[k] = v1;
    m[3 + k] = v2;
    m[6 + k] = v3;
  }
  return { b, a1, a2, a3, m };
}

function filterLine(line: Float64Array, n: number, k: RecursiveCoefficients): void {
  const { b, a1, a2, a3, m } = k;
  const first = line[0]!;
  const last = line[n - 1]!;
  let u1 = first;
  let u2 = first;
  let u3 = first;
  for (let i = 0; i < n; i++) {
    const u = b * line[i]! + a1 * u1 + a2 * u2 + a3 * u3;
    line[i] = u;
    u3 = u2;
    u2 = u1;
    u1 = u;
  }
  const e1 = u1 - last;
  const e2 = u2 - last;
  const e3 = u3 - last;
  let v1 = m[0]! * e1 + m[1]! * e2 + m[2]! * e3 + last;
  let v2 = m[3]! * e1 + m[4]! * e2 + m[5]! * e3 + last;
  let v3 = m[6]! * e1 + m[7]! * e2 + m[8]! * e3 + last;
  for (let i = n - 1; i >= 0; i--) {
    const v = b * line[i]! + a1 * v1 + a2 * v2 + a3 * v3;
    line[i] = v;
    v3 = v2;
    v2 = v1;
    v1 = v;
  }
}

/**
 * Plain twin of the kernel: Gaussian of one plane, height × width; the edge pixel repeats; sigma below
 * 0.5 leaves that axis alone. `dst` may be `src`.
 */
export function recursiveGaussianPlain(
  src: Float32Array,
  width: number,
  height: number,
  sigmaXPx: number,
  sigmaYPx: number = sigmaXPx,
  dst?: Float32Array,
): Float32Array {
  requirePlane(src, width, height, 'recursive Gaussian');
  const out = planeOr(dst, width * height, 'recursive Gaussian');
  if (out !== src) out.set(src);
  const line = new Float64Array(Math.max(width, height));
  if (sigmaXPx >= 0.5) {
    const k = recursiveCoefficients(sigmaXPx);
    for (let y = 0; y < height; y++) {
      const o = y * width;
      for (let x = 0; x < width; x++) line[x] = out[o + x]!;
      filterLine(line, width, k);
      for (let x = 0; x < width; x++) out[o + x] = line[x]!;
    }
  }
  if (sigmaYPx >= 0.5) {
    const k = recursiveCoefficients(sigmaYPx);
    for (let x = 0; x < width; x++) {
      for (let y = 0; y < height; y++) line[y] = out[y * width + x]!;
      filterLine(line, height, k);
      for (let y = 0; y < height; y++) out[y * width + x] = line[y]!;
    }
  }
  return out;
}

/** Recursive Gaussian; shapes as in {@link recursiveGaussianPlain}. */
export function recursiveGaussian(
  src: Float32Array,
  width: number,
  height: number,
  sigmaXPx: number,
  sigmaYPx: number = sigmaXPx,
  dst?: Float32Array,
): Float32Array {
  requirePlane(src, width, height, 'recursive Gaussian');
  const n = width * height;
  if (n < KERNEL_FROM_PIXELS || width < 4) return recursiveGaussianPlain(src, width, height, sigmaXPx, sigmaYPx, dst);
  const out = planeOr(dst, n, 'recursive Gaussian');
  const across = sigmaXPx >= 0.5;
  const down = sigmaYPx >= 0.5;
  if (!across && !down) {
    if (out !== src) out.set(src);
    return out;
  }
  const door = kernels();
  const scope = door.scope();
  try {
    const s = scope.input(src);
    const d = scope.output(out);
    // Rows are read whole before they are written, and so are columns: the passes may run in place.
    if (across)
      door.run('recursiveAcross', [s, d, width, scope.input(packed(sigmaXPx))], height, 4 * width, 32 * width + 64);
    if (down)
      door.run(
        'recursiveDown',
        [across ? d : s, d, width, height, scope.input(packed(sigmaYPx))],
        (width + 3) >> 2,
        16 * height,
        32 * height + 64,
      );
    scope.finish();
  } finally {
    scope.close();
  }
  return out;
}

function packed(sigmaPx: number): Float64Array {
  const k = recursiveCoefficients(sigmaPx);
  return Float64Array.of(k.b, k.a1, k.a2, k.a3, ...k.m);
}
