/**
 * A region's place as the displacement of its four corners in eight modes: the common shift, then
 * six of shape. And the 8 × 8 algebra about them.
 */
import { mapTuple } from '../../core/tuples.js';
import { homographyFromQuad } from '../../geometry/homography.js';
import { apply, multiply, normalise, type Mat3, type Point2 } from '../../geometry/mat3.js';
import { generatorExp } from './ride-generators.js';
import type { RideTemplate } from './ride-template.js';

/** Number of modes. */
export const D = 8;

/**
 * Orthonormal basis of corner displacements: the common shift in x and y, then six of
 * shape. Rows over (x0, y0, ... y3).
 */
const MODES: readonly (readonly number[])[] = [
  [0.5, 0, 0.5, 0, 0.5, 0, 0.5, 0],
  [0, 0.5, 0, 0.5, 0, 0.5, 0, 0.5],
  [0.5, 0, -0.5, 0, -0.5, 0, 0.5, 0],
  [0, 0.5, 0, -0.5, 0, -0.5, 0, 0.5],
  [0.5, 0, 0.5, 0, -0.5, 0, -0.5, 0],
  [0, 0.5, 0, 0.5, 0, -0.5, 0, -0.5],
  [0.5, 0, -0.5, 0, 0.5, 0, -0.5, 0],
  [0, 0.5, 0, -0.5, 0, 0.5, 0, -0.5],
];

/** The template's corners under a warp, brought back by `back` (the set's motion) where there is one; px. */
export function cornersUnder(template: RideTemplate, warp: Mat3, back: Mat3 | null): Point2[] {
  const m = back === null ? warp : multiply(back, warp);
  return template.corners.map(([u, v]) => apply(m, u, v));
}

/** Four corners (or their displacements) in the eight modes. */
export function modesOf(corners: readonly Point2[]): Float64Array {
  return Float64Array.from(MODES, (row) => row.reduce((s, w, i) => s + w * corners[i >> 1]![i & 1]!, 0));
}

/**
 * The key frame's pixels → a frame's by the corners that these modes say, after the set's motion where there is one;
 * null where they fold.
 */
export function homographyOf(template: RideTemplate, modes: Float64Array, set: Mat3 | null): Mat3 | null {
  const corners = [0, 1, 2, 3].map((k) =>
    mapTuple([0, 1] as const, (q) => MODES.reduce((s, row, m) => s + row[2 * k + q]! * modes[m]!, 0)),
  );
  const home = template.corners.map(([u, v]) => apply(template.toPixels, u, v));
  const h = homographyFromQuad(home, corners);
  return h === null ? null : normalise(set === null ? h : multiply(set, h));
}

/** 8 × 8: modes of the corners over the generators (right perturbation of the warp). */
export function jacobian(template: RideTemplate, homography: Mat3, back: Mat3 | null): Float64Array {
  const warp = multiply(homography, template.toPixels);
  const out = new Float64Array(D * D);
  const e = 1e-4;
  for (let k = 0; k < D; k++) {
    const d = new Float64Array(D);
    d[k] = e;
    const p = modesOf(cornersUnder(template, multiply(warp, generatorExp(d)), back));
    d[k] = -e;
    const q = modesOf(cornersUnder(template, multiply(warp, generatorExp(d)), back));
    for (let r = 0; r < D; r++) out[r * D + k] = (p[r]! - q[r]!) / (2 * e);
  }
  return out;
}

/** By how much a homography enlarges lengths at the template's origin. */
export function scaleOf(m: Mat3, template: RideTemplate): number {
  const [x, y] = [template.toPixels[2], template.toPixels[5]];
  const o = apply(m, x, y);
  const a = apply(m, x + 1, y);
  const b = apply(m, x, y + 1);
  return Math.sqrt(Math.abs((a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0])));
}

/** Tᵀ A T. */
export function congruent(a: Float64Array, t: Float64Array): Float64Array {
  const half = new Float64Array(D * D);
  const out = new Float64Array(D * D);
  for (let r = 0; r < D; r++)
    for (let c = 0; c < D; c++)
      for (let k = 0; k < D; k++) half[r * D + c] = half[r * D + c]! + a[r * D + k]! * t[k * D + c]!;
  for (let r = 0; r < D; r++)
    for (let c = 0; c < D; c++)
      for (let k = 0; k < D; k++) out[r * D + c] = out[r * D + c]! + t[k * D + r]! * half[k * D + c]!;
  return out;
}

/** Inverse of an 8 × 8 matrix by elimination with pivots; null where it has none. */
export function invertDense(a: Float64Array): Float64Array | null {
  const n = D;
  const m = Float64Array.from(a);
  const out = new Float64Array(n * n);
  for (let i = 0; i < n; i++) out[i * n + i] = 1;
  for (let c = 0; c < n; c++) {
    let p = c;
    for (let r = c + 1; r < n; r++) if (Math.abs(m[r * n + c]!) > Math.abs(m[p * n + c]!)) p = r;
    const d = m[p * n + c]!;
    if (!(Math.abs(d) > 1e-12)) return null;
    for (let k = 0; k < n; k++) {
      const s = m[c * n + k]!;
      m[c * n + k] = m[p * n + k]! / d;
      if (p !== c) m[p * n + k] = s;
      const q = out[c * n + k]!;
      out[c * n + k] = out[p * n + k]! / d;
      if (p !== c) out[p * n + k] = q;
    }
    for (let r = 0; r < n; r++) {
      const f = m[r * n + c]!;
      if (r === c || f === 0) continue;
      for (let k = 0; k < n; k++) {
        m[r * n + k] = m[r * n + k]! - f * m[c * n + k]!;
        out[r * n + k] = out[r * n + k]! - f * out[c * n + k]!;
      }
    }
  }
  return out;
}

/** An 8 × 8 matrix times 8 numbers. */
export function times(a: Float64Array, x: Float64Array): Float64Array {
  const out = new Float64Array(D);
  for (let r = 0; r < D; r++) for (let c = 0; c < D; c++) out[r] = out[r]! + a[r * D + c]! * x[c]!;
  return out;
}

/** Sum of the diagonal of an 8 × 8 matrix. */
export function trace(a: Float64Array): number {
  let s = 0;
  for (let i = 0; i < D; i++) s += a[i * D + i]!;
  return s;
}
