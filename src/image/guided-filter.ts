/**
 * Guided filter: edge-aware smoothing that follows a guide in colour. K. He, J. Sun, X. Tang, "Guided image filtering",
 * IEEE PAMI 35(6), 2013: in each window q = a·I + b by ridge regression, averaged over the windows (equations 14 to
 * 16). Windows are (2r + 1)², cut at the edge.
 */
import { boxMean } from './box.js';
import { planeOr, requirePlane } from './boundary.js';
import { plane, type Picture } from './picture.js';

/** Filters `input` with an RGB guide (first three planes). `dst` may be `input`. */
export function guidedFilterColour(
  guide: Picture,
  input: Float32Array,
  radius: number,
  epsilon: number,
  dst?: Float32Array,
): Float32Array {
  const { width, height } = guide;
  requirePlane(input, width, height, 'colour guided filter');
  const n = width * height;
  const out = planeOr(dst, n, 'colour guided filter');
  const R = plane(guide, 0);
  const G = plane(guide, 1);
  const B = plane(guide, 2);
  const mean = (p: Float32Array, q?: Float32Array): Float32Array => {
    if (q === undefined) return boxMean(p, width, height, radius);
    const t = new Float32Array(n);
    for (let i = 0; i < n; i++) t[i] = p[i]! * q[i]!;
    return boxMean(t, width, height, radius, radius, t);
  };
  const mr = mean(R);
  const mg = mean(G);
  const mb = mean(B);
  const mp = mean(input);
  const rr = mean(R, R);
  const rg = mean(R, G);
  const rb = mean(R, B);
  const gg = mean(G, G);
  const gb = mean(G, B);
  const bb = mean(B, B);
  const pr = mean(R, input);
  const pg = mean(G, input);
  const pb = mean(B, input);
  for (let i = 0; i < n; i++) {
    const r = mr[i]!;
    const g = mg[i]!;
    const b = mb[i]!;
    const p = mp[i]!;
    const a00 = rr[i]! - r * r + epsilon;
    const a01 = rg[i]! - r * g;
    const a02 = rb[i]! - r * b;
    const a11 = gg[i]! - g * g + epsilon;
    const a12 = gb[i]! - g * b;
    const a22 = bb[i]! - b * b + epsilon;
    const y0 = pr[i]! - r * p;
    const y1 = pg[i]! - g * p;
    const y2 = pb[i]! - b * p;
    // Symmetric 3×3 by the adjugate: epsilon keeps it positive.
    const c00 = a11 * a22 - a12 * a12;
    const c01 = a02 * a12 - a01 * a22;
    const c02 = a01 * a12 - a02 * a11;
    const c11 = a00 * a22 - a02 * a02;
    const c12 = a01 * a02 - a00 * a12;
    const c22 = a00 * a11 - a01 * a01;
    const k = 1 / (a00 * c00 + a01 * c01 + a02 * c02);
    const x0 = (c00 * y0 + c01 * y1 + c02 * y2) * k;
    const x1 = (c01 * y0 + c11 * y1 + c12 * y2) * k;
    const x2 = (c02 * y0 + c12 * y1 + c22 * y2) * k;
    pr[i] = x0;
    pg[i] = x1;
    pb[i] = x2;
    rr[i] = p - x0 * r - x1 * g - x2 * b;
  }
  for (const q of [pr, pg, pb, rr]) boxMean(q, width, height, radius, radius, q);
  for (let i = 0; i < n; i++) out[i] = pr[i]! * R[i]! + pg[i]! * G[i]! + pb[i]! * B[i]! + rr[i]!;
  return out;
}
