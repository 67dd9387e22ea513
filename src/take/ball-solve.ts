/** Direction of the key on the ball by Gauss-Newton over the sphere, and how far it may be off. */
import { invertSymmetric } from '../geometry/linear-solve.js';
import { draw, type Scene, type Vec } from './card-ball-scene.js';
import { type Fit, LINEAR, evaluate, fill } from './ball-shading.js';

const SHARED_NOISE = 2;
/** A ball is no perfect sphere of Lambert's kind, and seams and print show: degrees. */
export const DIRECTION_FLOOR_DEG = 2;

/** Two unit vectors across l. */
function across(l: Vec): [Vec, Vec] {
  const o: Vec = Math.abs(l[1]) < 0.9 ? [0, 1, 0] : [1, 0, 0];
  const t = unit([l[1] * o[2] - l[2] * o[1], l[2] * o[0] - l[0] * o[2], l[0] * o[1] - l[1] * o[0]]);
  return [t, [l[1] * t[2] - l[2] * t[1], l[2] * t[0] - l[0] * t[2], l[0] * t[1] - l[1] * t[0]]];
}
function unit(v: Vec): Vec {
  const n = Math.hypot(v[0], v[1], v[2]);
  return [v[0] / n, v[1] / n, v[2] / n];
}
function turned(l: Vec, t: readonly [Vec, Vec], u: number, v: number): Vec {
  return unit([l[0] + u * t[0][0] + v * t[1][0], l[1] + u * t[0][1] + v * t[1][1], l[2] + u * t[0][2] + v * t[1][2]]);
}

/** Gauss-Newton over the two angles with the levels eliminated. */
export function solve(s: Scene, start: Vec, scale: number, most: number): { l: Vec; fit: Fit } | null {
  let l = start;
  let lambda = 1e-2;
  const first = evaluate(s, 0, l, null, scale);
  if (first === null) return null;
  let fit = evaluate(s, 0, l, first.residual, scale);
  if (fit === null) return null;
  for (let iteration = 0; iteration < most; iteration++) {
    const t = across(l);
    const g = gradients(s, l, t, fit);
    let a = 0;
    let b = 0;
    let c = 0;
    let gu = 0;
    let gv = 0;
    for (let at = 0; at < fit.residual.length; at++) {
      const r = fit.residual[at]!;
      if (Number.isNaN(r)) continue;
      const w = Math.min(1, (1.345 * scale) / Math.max(1e-9, Math.abs(r)));
      const x = g[0][at]!;
      const y = g[1][at]!;
      a += w * x * x;
      b += w * x * y;
      c += w * y * y;
      gu += w * x * r;
      gv += w * y * r;
    }
    let moved = false;
    for (let tries = 0; tries < 5; tries++) {
      const A = a * (1 + lambda) + 1e-12;
      const C = c * (1 + lambda) + 1e-12;
      const det = A * C - b * b;
      if (!(det > 0)) {
        lambda *= 10;
        continue;
      }
      const limit = (v: number): number => Math.max(-0.35, Math.min(0.35, v));
      const u = limit((C * gu - b * gv) / det);
      const v = limit((A * gv - b * gu) / det);
      const q = turned(l, t, u, v);
      const next = evaluate(s, 0, q, fit.residual, scale);
      if (next !== null && next.cost < fit.cost) {
        moved = Math.hypot(u, v) > 5e-4;
        l = q;
        fit = next;
        lambda = Math.max(1e-5, lambda / 4);
        break;
      }
      lambda *= 8;
    }
    if (!moved) break;
  }
  return { l, fit };
}

/** Change of the prediction along both tangents at the fitted levels. */
function gradients(s: Scene, l: Vec, t: readonly [Vec, Vec], fit: Fit): [Float32Array, Float32Array] {
  const h = 0.02;
  return [
    [h, 0],
    [0, h],
  ].map(([u, v]) => {
    const p = draw(s, turned(l, t, u!, v!));
    const m = draw(s, turned(l, t, -u!, -v!));
    return p.lit.map(
      (x, i) => (fit.linear[6]! * (x - m.lit[i]!) - fit.linear[3]! * (p.shadow[i]! - m.shadow[i]!)) / (2 * h),
    );
  }) as [Float32Array, Float32Array];
}

/** Standard deviation of the direction, radians, its worse axis, with all levels free; null where it is not held. */
export function directionSd(s: Scene, l: Vec, fit: Fit): number | null {
  const g = gradients(s, l, across(l), fit);
  const n = LINEAR + 2;
  const A = new Float64Array(n * n);
  const row = new Float64Array(n);
  const part = row.subarray(2);
  for (let at = 0; at < fit.residual.length; at++) {
    const r = fit.residual[at]!;
    if (Number.isNaN(r)) continue;
    const w = Math.min(1, (1.345 * Math.max(0.002, fit.mad)) / Math.max(1e-9, Math.abs(r)));
    fill(part, s, fit.lit, fit.shadow, at);
    row[0] = g[0][at]!;
    row[1] = g[1][at]!;
    for (let i = 0; i < n; i++) for (let j = 0; j <= i; j++) A[i * n + j]! += w * row[i]! * row[j]!;
  }
  for (let i = 0; i < n; i++) {
    A[i * n + i]! += 1e-9;
    for (let j = 0; j < i; j++) A[j * n + i] = A[i * n + j]!;
  }
  const inverse = invertSymmetric(A, n);
  return inverse === null
    ? null
    : SHARED_NOISE * Math.max(0.002, fit.mad) * Math.sqrt(Math.max(inverse[0]!, inverse[n + 1]!));
}
