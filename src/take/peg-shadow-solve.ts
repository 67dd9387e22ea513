/** Direction and length of a peg's shadow by Gauss-Newton from a start, and their covariance. */
import { invertSymmetric } from '../geometry/linear-solve.js';
import { REACH_MM, drawPegShadow, type PegScene } from './peg-scene.js';
import { type Evaluation, LINEAR, evaluate, fill } from './peg-shadow-model.js';

export const SHARED_NOISE = 2;

/**
 * Gauss-Newton over direction and length with the linear part eliminated (variable projection, Golub & Pereyra 1973).
 */
export function solve(
  s: PegScene,
  theta0: number,
  length0: number,
  scale: number,
  most: number,
): { theta: number; length: number; fit: Evaluation } | null {
  let theta = theta0;
  let length = Math.max(8, length0);
  let lambda = 1e-2;
  let fit = evaluate(s, theta, length, scale);
  if (fit === null) return null;
  for (let iteration = 0; iteration < most; iteration++) {
    const g = gradients(s, theta, length, fit);
    let a = 0;
    let b = 0;
    let c = 0;
    let gt = 0;
    let gl = 0;
    for (let at = 0; at < s.usable.length; at++) {
      if (s.usable[at] === 0) continue;
      const r = fit.residual[at]!;
      const w = Math.min(1, (1.345 * scale) / Math.max(1e-9, Math.abs(r)));
      const x = g.theta[at]!;
      const y = g.length[at]!;
      a += w * x * x;
      b += w * x * y;
      c += w * y * y;
      gt += w * x * r;
      gl += w * y * r;
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
      const dt = Math.max(-0.25, Math.min(0.25, (C * gt - b * gl) / det));
      const dl = Math.max(-20, Math.min(20, (A * gl - b * gt) / det));
      const t = theta + dt;
      const l = Math.max(5, Math.min(REACH_MM, length + dl));
      const next = evaluate(s, t, l, scale, fit.residual);
      if (next !== null && next.cost < fit.cost) {
        const done = Math.abs(dt) < 2e-4 && Math.abs(dl) < 0.02;
        theta = t;
        length = l;
        fit = next;
        moved = !done;
        lambda = Math.max(1e-5, lambda / 4);
        break;
      }
      lambda *= 8;
    }
    if (!moved) break;
  }
  return { theta, length, fit };
}

/** Change of the prediction with direction and length at the fitted depth. */
function gradients(
  s: PegScene,
  theta: number,
  length: number,
  fit: Evaluation,
): { theta: Float32Array; length: Float32Array } {
  const dt = Math.min(0.05, 1 / Math.max(10, length));
  const dl = 1;
  const k = -fit.linear[3]!;
  const difference = (a: Float32Array, b: Float32Array, step: number): Float32Array =>
    a.map((v, i) => (k * (v - b[i]!)) / step);
  return {
    theta: difference(drawPegShadow(s, theta + dt, length), drawPegShadow(s, theta - dt, length), 2 * dt),
    length: difference(drawPegShadow(s, theta, length + dl), drawPegShadow(s, theta, length - dl), 2 * dl),
  };
}

/** Variances of direction, length and lost light, with all unknowns in one system; null where they are not held. */
export function shadowCovariance(
  s: PegScene,
  theta: number,
  length: number,
  fit: Evaluation,
): [number, number, number] | null {
  const g = gradients(s, theta, length, fit);
  const n = LINEAR + 2;
  const A = new Float64Array(n * n);
  const row = new Float64Array(n);
  const part = row.subarray(2);
  for (let at = 0; at < s.usable.length; at++) {
    if (s.usable[at] === 0) continue;
    const r = Math.abs(fit.residual[at]!);
    const w = Math.min(1, (1.345 * fit.scale) / Math.max(1e-9, r));
    fill(part, s, fit.shadow, at);
    row[0] = g.theta[at]!;
    row[1] = g.length[at]!;
    for (let i = 0; i < n; i++) for (let j = 0; j <= i; j++) A[i * n + j]! += w * row[i]! * row[j]!;
  }
  for (let i = 0; i < n; i++) {
    A[i * n + i]! += 1e-9;
    for (let j = 0; j < i; j++) A[j * n + i] = A[i * n + j]!;
  }
  const inverse = invertSymmetric(A, n);
  if (inverse === null) return null;
  const scale = (SHARED_NOISE * Math.max(0.002, fit.mad)) ** 2;
  return [inverse[0]! * scale, inverse[n + 1]! * scale, inverse[5 * n + 5]! * scale];
}
