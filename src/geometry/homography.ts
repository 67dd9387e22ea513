/**
 * Plane homographies from point pairs: normalised direct linear transform (Hartley & Zisserman, *Multiple View
 * Geometry*, 2nd ed., algorithm 4.2) and refinement of the transfer error in the second picture (section 4.2.3) by
 * Gauss-Newton. Points as [x, y] in pixels; the homography maps `from` to `to`.
 */
import { PlatewrightError } from '../core/errors.js';
import { levenbergMarquardt, type RobustLoss } from './levenberg-marquardt.js';
import { solveGeneral, symmetricEigen } from './linear-solve.js';
import { apply, multiply, normalise, type Mat3, type Point2 } from './mat3.js';

/**
 * Homography from four or more pairs, weighted least squares of the algebraic error in normalised coordinates.
 * Returns null where the points are degenerate (three of four on a line, all equal).
 * Throws `PW-GEOMETRY-POINTS` for fewer than four pairs or lists of different length.
 */
export function homographyFromPoints(
  from: readonly Point2[],
  to: readonly Point2[],
  weights?: ArrayLike<number>,
): Mat3 | null {
  if (from.length !== to.length || from.length < 4) {
    throw new PlatewrightError(
      'PW-GEOMETRY-POINTS',
      `a homography needs at least four point pairs, but got ${from.length} and ${to.length} points`,
      { kind: 'internal' },
    );
  }
  const a = normaliser(from, weights);
  const b = normaliser(to, weights);
  if (a === null || b === null) return null;
  const m = new Float64Array(81);
  const row1 = new Float64Array(9);
  const row2 = new Float64Array(9);
  for (let i = 0; i < from.length; i++) {
    const w = weights === undefined ? 1 : weights[i]!;
    if (!(w > 0)) continue;
    const x = (from[i]![0] - a.cx) * a.s;
    const y = (from[i]![1] - a.cy) * a.s;
    const u = (to[i]![0] - b.cx) * b.s;
    const v = (to[i]![1] - b.cy) * b.s;
    row1.set([x, y, 1, 0, 0, 0, -u * x, -u * y, -u]);
    row2.set([0, 0, 0, x, y, 1, -v * x, -v * y, -v]);
    for (let r = 0; r < 9; r++)
      for (let c = 0; c < 9; c++) {
        m[r * 9 + c] = m[r * 9 + c]! + w * (row1[r]! * row1[c]! + row2[r]! * row2[c]!);
      }
  }
  const { values, vectors } = symmetricEigen(m, 9);
  if (!(values[1]! > 1e-10 * values[8]!)) return null;
  const h = Array.from({ length: 9 }, (_, i) => vectors[i * 9]!) as unknown as Mat3;
  const ta: Mat3 = [a.s, 0, -a.s * a.cx, 0, a.s, -a.s * a.cy, 0, 0, 1];
  const tbInverse: Mat3 = [1 / b.s, 0, b.cx, 0, 1 / b.s, b.cy, 0, 0, 1];
  const out = normalise(multiply(tbInverse, multiply(h, ta)));
  return out.every(Number.isFinite) ? out : null;
}

/** Exact homography of four pairs (8 × 8 system, last entry 1); null where it does not exist. */
export function homographyFromQuad(from: readonly Point2[], to: readonly Point2[]): Mat3 | null {
  const m = new Float64Array(64);
  const rhs = new Float64Array(8);
  for (let i = 0; i < 4; i++) {
    const [x, y] = from[i]!;
    const [u, v] = to[i]!;
    m.set([x, y, 1, 0, 0, 0, -u * x, -u * y], i * 16);
    m.set([0, 0, 0, x, y, 1, -v * x, -v * y], i * 16 + 8);
    rhs[i * 2] = u;
    rhs[i * 2 + 1] = v;
  }
  const h = solveGeneral(m, rhs, 8);
  if (h === null) return null;
  const out: Mat3 = [h[0]!, h[1]!, h[2]!, h[3]!, h[4]!, h[5]!, h[6]!, h[7]!, 1];
  for (let i = 0; i < 4; i++) {
    const [u, v] = apply(out, from[i]![0], from[i]![1]);
    if (!(Math.hypot(u - to[i]![0], v - to[i]![1]) < 1e-4 * (1 + Math.hypot(to[i]![0], to[i]![1])))) return null;
  }
  return out;
}

/** A homography fitted by least squares. */
export interface RefinedHomography {
  readonly homography: Mat3;
  /** Robust weight of each pair, 0..1. */
  readonly weights: Float64Array;
  /** Weighted rms transfer error per coordinate in pixels. */
  readonly rmsPx: number;
}

/**
 * Refines a homography on the transfer error |to − H from| in pixels, with a robust loss.
 * Works in coordinates normalised about the points, so that the eight unknowns are of one size.
 */
export function refineHomography(
  start: Mat3,
  from: readonly Point2[],
  to: readonly Point2[],
  loss: RobustLoss = { kind: 'squared' },
): RefinedHomography {
  const a = normaliser(from) ?? { cx: 0, cy: 0, s: 1 };
  const ta: Mat3 = [a.s, 0, -a.s * a.cx, 0, a.s, -a.s * a.cy, 0, 0, 1];
  const taInverse: Mat3 = [1 / a.s, 0, a.cx, 0, 1 / a.s, a.cy, 0, 0, 1];
  // Target coordinates are scaled alike so that h stays well conditioned; residuals are put back into pixels.
  const h0 = normalise(multiply(ta, multiply(start, taInverse)));
  const n = from.length;
  const fx = new Float64Array(n);
  const fy = new Float64Array(n);
  const ux = new Float64Array(n);
  const uy = new Float64Array(n);
  for (let i = 0; i < n; i++) {
    fx[i] = (from[i]![0] - a.cx) * a.s;
    fy[i] = (from[i]![1] - a.cy) * a.s;
    ux[i] = (to[i]![0] - a.cx) * a.s;
    uy[i] = (to[i]![1] - a.cy) * a.s;
  }
  const k = 1 / a.s;
  const fit = levenbergMarquardt({
    start: h0.slice(0, 8),
    residualCount: 2 * n,
    blockSize: 2,
    loss,
    maxIterations: 30,
    residuals: (p, out) => {
      for (let i = 0; i < n; i++) {
        const x = fx[i]!;
        const y = fy[i]!;
        const w = 1 / (p[6]! * x + p[7]! * y + 1);
        out[2 * i] = ((p[0]! * x + p[1]! * y + p[2]!) * w - ux[i]!) * k;
        out[2 * i + 1] = ((p[3]! * x + p[4]! * y + p[5]!) * w - uy[i]!) * k;
      }
    },
    jacobian: (p, out) => {
      for (let i = 0; i < n; i++) {
        const x = fx[i]!;
        const y = fy[i]!;
        const w = 1 / (p[6]! * x + p[7]! * y + 1);
        const u = (p[0]! * x + p[1]! * y + p[2]!) * w;
        const v = (p[3]! * x + p[4]! * y + p[5]!) * w;
        const o = i * 16;
        const wk = w * k;
        out[o] = x * wk;
        out[o + 1] = y * wk;
        out[o + 2] = wk;
        out[o + 3] = 0;
        out[o + 4] = 0;
        out[o + 5] = 0;
        out[o + 6] = -u * x * wk;
        out[o + 7] = -u * y * wk;
        out[o + 8] = 0;
        out[o + 9] = 0;
        out[o + 10] = 0;
        out[o + 11] = x * wk;
        out[o + 12] = y * wk;
        out[o + 13] = wk;
        out[o + 14] = -v * x * wk;
        out[o + 15] = -v * y * wk;
      }
    },
  });
  const p = fit.parameters;
  const h: Mat3 = [p[0]!, p[1]!, p[2]!, p[3]!, p[4]!, p[5]!, p[6]!, p[7]!, 1];
  return {
    homography: normalise(multiply(taInverse, multiply(h, ta))),
    weights: fit.weights,
    rmsPx: Math.sqrt(fit.variance),
  };
}

function normaliser(
  points: readonly Point2[],
  weights?: ArrayLike<number>,
): { cx: number; cy: number; s: number } | null {
  let cx = 0;
  let cy = 0;
  let sw = 0;
  for (let i = 0; i < points.length; i++) {
    const w = weights === undefined ? 1 : Math.max(0, weights[i]!);
    cx += w * points[i]![0];
    cy += w * points[i]![1];
    sw += w;
  }
  if (!(sw > 0)) return null;
  cx /= sw;
  cy /= sw;
  let d = 0;
  for (let i = 0; i < points.length; i++) {
    const w = weights === undefined ? 1 : Math.max(0, weights[i]!);
    d += w * Math.hypot(points[i]![0] - cx, points[i]![1] - cy);
  }
  d /= sw;
  return d > 1e-12 ? { cx, cy, s: Math.SQRT2 / d } : null;
}
