/**
 * Nonlinear least squares over a residual vector, with a robust loss: minimises Σ ρ(r_i²) over parameters p. Levenberg
 * 1944 / Marquardt 1963 in the form of Nielsen's damping (Madsen, Nielsen & Tingleff, *Methods for Non-Linear Least
 * Squares Problems*, 2004, algorithm 3.16); robust losses by iteratively reweighted least squares (Triggs et al.,
 * *Bundle Adjustment: A Modern Synthesis*, 1999, section 4.3, first-order form). Residuals are expected in units of
 * their own standard deviation where a covariance is wanted without rescaling.
 */
import { choleskyFactor, invertSymmetric, solveWithFactor } from './linear-solve.js';

/**
 * Loss on a residual (or on the norm of a block of residuals); `scale` in residual units is where it starts to bend.
 */
export type RobustLoss =
  | { readonly kind: 'squared' }
  | { readonly kind: 'huber' | 'cauchy' | 'tukey'; readonly scale: number };

export interface LeastSquaresProblem {
  /** Start values; not changed. */
  readonly start: ArrayLike<number>;
  readonly residualCount: number;
  /** Writes `residualCount` residuals at `p` to `out`. */
  readonly residuals: (p: Float64Array, out: Float64Array) => void;
  /** Optional analytic Jacobian, row-major residualCount × parameters. Central differences otherwise. */
  readonly jacobian?: (p: Float64Array, out: Float64Array) => void;
  /** Typical size of a change of each parameter, for the differences; default max(|p|, 1) · 1e-6. */
  readonly steps?: ArrayLike<number>;
  readonly loss?: RobustLoss;
  /** The loss acts on the norm of this many consecutive residuals (2 for image points). Default 1. */
  readonly blockSize?: number;
  readonly maxIterations?: number;
}

export interface LeastSquaresResult {
  readonly parameters: Float64Array;
  readonly residuals: Float64Array;
  /** IRLS weight of every block, 0..1. */
  readonly weights: Float64Array;
  /** Σ ρ at the solution. */
  readonly cost: number;
  /** Weighted residual variance: Σ w r² / (Σ w − parameters). 1 where residuals are in units of their sd. */
  readonly variance: number;
  /**
   * (Jᵀ W J)⁻¹, row-major parameters × parameters, *not* multiplied by `variance`; null
   * where the data leave a direction free.
   */
  readonly covariance: Float64Array | null;
  readonly iterations: number;
  readonly converged: boolean;
}

/** ρ(r) of a residual norm r; behaves as r² near zero. */
export function lossValue(loss: RobustLoss, r: number): number {
  switch (loss.kind) {
    case 'squared':
      return r * r;
    case 'huber':
      return r <= loss.scale ? r * r : 2 * loss.scale * r - loss.scale * loss.scale;
    case 'cauchy': {
      const q = r / loss.scale;
      return loss.scale * loss.scale * Math.log1p(q * q);
    }
    case 'tukey': {
      const c2 = (loss.scale * loss.scale) / 3;
      if (r >= loss.scale) return c2;
      const q = 1 - (r / loss.scale) ** 2;
      return c2 * (1 - q * q * q);
    }
  }
}

/** IRLS weight ρ'(r) / (2 r), 1 at zero. */
export function lossWeight(loss: RobustLoss, r: number): number {
  switch (loss.kind) {
    case 'squared':
      return 1;
    case 'huber':
      return r <= loss.scale ? 1 : loss.scale / r;
    case 'cauchy': {
      const q = r / loss.scale;
      return 1 / (1 + q * q);
    }
    case 'tukey': {
      if (r >= loss.scale) return 0;
      const q = 1 - (r / loss.scale) ** 2;
      return q * q;
    }
  }
}

/**
 * Solves the problem from its start; see the head comment. Never throws for a bad fit: look at `converged` and `cost`.
 */
export function levenbergMarquardt(problem: LeastSquaresProblem): LeastSquaresResult {
  const n = problem.start.length;
  const m = problem.residualCount;
  const loss = problem.loss ?? { kind: 'squared' };
  const block = problem.blockSize ?? 1;
  const blocks = Math.floor(m / block);
  const maxIterations = problem.maxIterations ?? 60;

  let p = Float64Array.from(problem.start);
  let r = new Float64Array(m);
  let trialR = new Float64Array(m);
  const jac = new Float64Array(m * n);
  const weights = new Float64Array(blocks);
  const jtj = new Float64Array(n * n);
  const damped = new Float64Array(n * n);
  const g = new Float64Array(n);

  const costOf = (res: Float64Array): number => {
    let s = 0;
    for (let b = 0; b < blocks; b++) {
      let q = 0;
      for (let k = 0; k < block; k++) q += res[b * block + k]! * res[b * block + k]!;
      s += lossValue(loss, Math.sqrt(q));
    }
    return Number.isFinite(s) ? s : Infinity;
  };
  const linearise = (): void => {
    for (let b = 0; b < blocks; b++) {
      let q = 0;
      for (let k = 0; k < block; k++) q += r[b * block + k]! * r[b * block + k]!;
      weights[b] = lossWeight(loss, Math.sqrt(q));
    }
    if (problem.jacobian) problem.jacobian(p, jac);
    else numericJacobian(problem, p, m, jac);
    jtj.fill(0);
    g.fill(0);
    for (let i = 0; i < m; i++) {
      const w = weights[Math.min(blocks - 1, Math.floor(i / block))]!;
      if (w === 0) continue;
      const ri = r[i]! * w;
      for (let a = 0; a < n; a++) {
        const ja = jac[i * n + a]!;
        if (ja === 0) continue;
        g[a] = g[a]! + ja * ri;
        const wja = w * ja;
        for (let b = 0; b <= a; b++) jtj[a * n + b] = jtj[a * n + b]! + wja * jac[i * n + b]!;
      }
    }
    for (let a = 0; a < n; a++) for (let b = 0; b < a; b++) jtj[b * n + a] = jtj[a * n + b]!;
  };

  problem.residuals(p, r);
  let cost = costOf(r);
  linearise();
  let lambda = 1e-4;
  let grow = 2;
  let converged = false;
  let iterations = 0;
  while (iterations < maxIterations) {
    iterations++;
    damped.set(jtj);
    for (let a = 0; a < n; a++) damped[a * n + a] = jtj[a * n + a]! * (1 + lambda) + 1e-300;
    const l = choleskyFactor(damped, n);
    let accepted = false;
    if (l !== null) {
      const step = solveWithFactor(l, g, n);
      const trial = new Float64Array(n);
      let small = true;
      for (let a = 0; a < n; a++) {
        trial[a] = p[a]! - step[a]!;
        if (Math.abs(step[a]!) > 1e-10 * (Math.abs(p[a]!) + 1e-10)) small = false;
      }
      problem.residuals(trial, trialR);
      const trialCost = costOf(trialR);
      if (trialCost < cost || (small && trialCost <= cost)) {
        let predicted = 0;
        for (let a = 0; a < n; a++) predicted += step[a]! * (lambda * jtj[a * n + a]! * step[a]! + g[a]!);
        const gain = (cost - trialCost) / Math.max(predicted, 1e-300);
        const relative = (cost - trialCost) / Math.max(cost, 1e-300);
        p = trial;
        [r, trialR] = [trialR, r];
        cost = trialCost;
        linearise();
        lambda *= Math.max(1 / 3, 1 - (2 * gain - 1) ** 3);
        grow = 2;
        accepted = true;
        if (small || relative < 1e-12) {
          converged = true;
          break;
        }
      } else if (small) {
        converged = true;
        break;
      }
    }
    if (!accepted) {
      lambda *= grow;
      grow *= 2;
      if (lambda > 1e16) {
        converged = true;
        break;
      }
    }
  }
  let sw = 0;
  let swr = 0;
  for (let i = 0; i < m; i++) {
    const w = weights[Math.min(blocks - 1, Math.floor(i / block))]!;
    sw += w;
    swr += w * r[i]! * r[i]!;
  }
  return {
    parameters: p,
    residuals: r,
    weights,
    cost,
    iterations,
    converged,
    variance: swr / Math.max(1e-12, sw - n),
    covariance: invertSymmetric(jtj, n),
  };
}

function numericJacobian(problem: LeastSquaresProblem, p: Float64Array, m: number, jac: Float64Array): void {
  const n = p.length;
  const hi = new Float64Array(m);
  const lo = new Float64Array(m);
  const q = Float64Array.from(p);
  for (let a = 0; a < n; a++) {
    const h = problem.steps?.[a] ?? 1e-6 * Math.max(1, Math.abs(p[a]!));
    q[a] = p[a]! + h;
    problem.residuals(q, hi);
    q[a] = p[a]! - h;
    problem.residuals(q, lo);
    q[a] = p[a]!;
    for (let i = 0; i < m; i++) jac[i * n + a] = (hi[i]! - lo[i]!) / (2 * h);
  }
}
