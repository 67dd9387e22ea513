/**
 * The numbers of a robust Gauss-Newton fit that know nothing of a card: weights (Huber and Tukey losses), the scale of
 * the residuals, a damped step (Levenberg-Marquardt) and the covariance of the first parameters.
 */
import { choleskyFactor, solveWithFactor } from '../../geometry/linear-solve.js';

/** Step of the normal equations a x = b (n × n), its diagonal damped by `lambda`; null where they can't be solved. */
export function solveNormal(a: Float64Array, b: Float64Array, n: number, lambda: number): Float64Array | null {
  const damped = Float64Array.from(a);
  for (let i = 0; i < n; i++) damped[i * n + i] = a[i * n + i]! * (1 + lambda) + 1e-12;
  const f = choleskyFactor(damped, n);
  return f === null ? null : solveWithFactor(f, b, n);
}

/** Block of the inverse that belongs to the first `n` parameters, times the residuals' variance. */
export function parameterCovariance(a: Float64Array, n: number, total: number, scale: number): Float64Array | null {
  const f = choleskyFactor(a, total);
  if (f === null) return null;
  const out = new Float64Array(n * n);
  const unit = new Float64Array(total);
  for (let k = 0; k < n; k++) {
    unit.fill(0);
    unit[k] = 1;
    const x = solveWithFactor(f, unit, total);
    for (let i = 0; i < n; i++) out[i * n + k] = x[i]! * scale * scale;
  }
  return out;
}

/**
 * Weight of a residual of `t` scales; the tuning constants 1.345 and 4.685 keep 95 % of the efficiency of least squares
 * on normal noise (from memory).
 */
export function robustWeight(loss: 'huber' | 'tukey', t: number): number {
  const x = Math.abs(t);
  if (loss === 'huber') return x <= 1.345 ? 1 : 1.345 / x;
  if (x >= 4.685) return 0;
  const q = 1 - (x / 4.685) ** 2;
  return q * q;
}

/** 1.4826 × median |r|; never below what eight bits can tell. */
export function robustScale(residual: Float32Array): number {
  const v: number[] = [];
  for (let i = 0; i < residual.length; i++) if (!Number.isNaN(residual[i]!)) v.push(Math.abs(residual[i]!));
  const sorted = Float32Array.from(v).sort();
  return Math.max(0.002, 1.4826 * (sorted[sorted.length >> 1] ?? 1));
}
