/**
 * How far points leave the straight line between two pictures, told by the pairs before and after; and a field read
 * along bent paths.
 */
import type { MotionField } from '../../image/flow.js';
import { blurPlane } from '../../image/gaussian.js';
import { sampleBilinear } from '../../image/sampling.js';
import { warpMap } from '../../image/warp-map.js';

/**
 * How far a point's path leaves the straight line at time t, for each pixel of time t: Lagrange's cubic through its
 * places at −1, 0, 1, 2, written by its second differences a₀ (about 0) and a₁ (about 1): −t(1 − t)/2 · ((2 − t)/3 · a₀
 * + (1 + t)/3 · a₁). Smoothed a little, since what moves together bends together; and taken as far as a₀ and a₁ agree:
 * 1/2 + 3/4 of their correlation, not below 0. Velocities that have nothing to do with each other from pair to pair (a
 * jerking hand) give accelerations correlated by −1/2, and then the straight line is the best guess. An even
 * acceleration bends as the cubic says; a swing whose a₀ and a₁ agree bends more (by two thirds where it turns a
 * quarter of its round from picture to picture). Tried on open clips: 1/2 + 1/2 bends too little there, 1/2 + 1 costs
 * on hand-held ones. (Quadratic paths: X. Xu et al., "Quadratic video interpolation", NeurIPS 2019.)
 */
export function curvature(
  field: MotionField,
  t: number,
  before: MotionField,
  middle: MotionField,
  after: MotionField,
): MotionField {
  const { width: w, height: h } = field;
  const n = w * h;
  const a0u = new Float32Array(n),
    a0v = new Float32Array(n),
    a1u = new Float32Array(n),
    a1v = new Float32Array(n);
  for (let y = 0, i = 0; y < h; y++) {
    for (let x = 0; x < w; x++, i++) {
      const fu = field.u[i]!,
        fv = field.v[i]!;
      const ax = x + 0.5 - t * fu,
        ay = y + 0.5 - t * fv,
        bx = ax + fu,
        by = ay + fv;
      const mu = sampleBilinear(middle.u, w, h, ax, ay),
        mv = sampleBilinear(middle.v, w, h, ax, ay);
      a0u[i] = mu - sampleBilinear(before.u, w, h, ax, ay);
      a0v[i] = mv - sampleBilinear(before.v, w, h, ax, ay);
      a1u[i] = sampleBilinear(after.u, w, h, bx, by) - mu;
      a1v[i] = sampleBilinear(after.v, w, h, bx, by) - mv;
    }
  }
  const sigma = Math.max(1.4, Math.max(w, h) / 230);
  for (const p of [a0u, a0v, a1u, a1v]) blurPlane(p, w, h, sigma, p);
  const k = (-t * (1 - t)) / 2,
    k0 = (k * (2 - t)) / 3,
    k1 = (k * (1 + t)) / 3;
  for (let i = 0; i < n; i++) {
    const pu = a0u[i]!,
      pv = a0v[i]!,
      qu = a1u[i]!,
      qv = a1v[i]!;
    const agree = Math.max(
      0,
      0.5 + (0.75 * (pu * qu + pv * qv)) / (0.5 * (pu * pu + pv * pv + qu * qu + qv * qv) + 1e-6),
    );
    a0u[i] = agree * (k0 * pu + k1 * qu);
    a0v[i] = agree * (k0 * pv + k1 * qv);
  }
  return { width: w, height: h, u: a0u, v: a0v };
}

/** The field as points on bent paths find it: what is seen at x came to x − bend on the straight one. */
export function bentField(field: MotionField, bend: MotionField): MotionField {
  const { width: w, height: h } = field;
  const n = w * h;
  const mx = new Float32Array(n),
    my = new Float32Array(n);
  for (let y = 0, i = 0; y < h; y++)
    for (let x = 0; x < w; x++, i++) {
      mx[i] = x + 0.5 - bend.u[i]!;
      my[i] = y + 0.5 - bend.v[i]!;
    }
  const both = new Float32Array(2 * n);
  both.set(field.u);
  both.set(field.v, n);
  const moved = warpMap({ width: w, height: h, channels: 2, data: both }, mx, my, w, h);
  return { width: w, height: h, u: moved.data.subarray(0, n), v: moved.data.subarray(n, 2 * n) };
}
