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

/** What is fitted. */
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

/** The fit. */
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
function lossValue(loss: RobustLoss, r: number): number {
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
function lossWeight(loss: RobustLoss, r: number): number {
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

/** How the residuals hang together: their number, the parameters' and the blocks on whose norms the loss acts. */
interface Shape {
  readonly parameters: number;
  readonly residuals: number;
  readonly block: number;
  readonly blocks: number;
  readonly loss: RobustLoss;
}

/** The problem made linear at a point: Jacobian, weights of the blocks, Jᵀ W J and Jᵀ W r. */
interface Linear {
  readonly jacobian: Float64Array;
  readonly weights: Float64Array;
  readonly normal: Float64Array;
  readonly gradient: Float64Array;
}

/** Damping above which no step is possible any more. */
const MOST_DAMPING = 1e16;

/**
 * Solves the problem from its start; see the head comment. Never throws for a bad fit: look at `converged` and `cost`.
 */
export function levenbergMarquardt(problem: LeastSquaresProblem): LeastSquaresResult {
  const n = problem.start.length;
  const m = problem.residualCount;
  const block = problem.blockSize ?? 1;
  const blocks = Math.floor(m / block);
  const shape: Shape = { parameters: n, residuals: m, block, blocks, loss: problem.loss ?? { kind: 'squared' } };
  const maxIterations = problem.maxIterations ?? 60;
  const linear: Linear = {
    jacobian: new Float64Array(m * n),
    weights: new Float64Array(blocks),
    normal: new Float64Array(n * n),
    gradient: new Float64Array(n),
  };
  const { normal, gradient } = linear;

  let p = Float64Array.from(problem.start);
  let r = new Float64Array(m);
  let trialR = new Float64Array(m);
  problem.residuals(p, r);
  let cost = costOf(r, shape);
  linearise(problem, shape, p, r, linear);
  let lambda = 1e-4;
  let grow = 2;
  let converged = false;
  let iterations = 0;
  while (iterations < maxIterations && !converged) {
    iterations++;
    const step = dampedStep(linear, lambda);
    let accepted = false;
    if (step !== null) {
      const { trial, small } = stepped(p, step);
      problem.residuals(trial, trialR);
      const trialCost = costOf(trialR, shape);
      if (trialCost < cost || (small && trialCost <= cost)) {
        let predicted = 0;
        for (let a = 0; a < n; a++) predicted += step[a]! * (lambda * normal[a * n + a]! * step[a]! + gradient[a]!);
        const gain = (cost - trialCost) / Math.max(predicted, 1e-300);
        const relative = (cost - trialCost) / Math.max(cost, 1e-300);
        p = trial;
        [r, trialR] = [trialR, r];
        cost = trialCost;
        linearise(problem, shape, p, r, linear);
        lambda *= Math.max(1 / 3, 1 - (2 * gain - 1) ** 3);
        grow = 2;
        accepted = true;
        converged = small || relative < 1e-12;
      } else if (small) {
        converged = true;
        break;
      }
    }
    if (!accepted) {
      lambda *= grow;
      grow *= 2;
      converged = lambda > MOST_DAMPING;
    }
  }
  return {
    parameters: p,
    residuals: r,
    weights: linear.weights,
    cost,
    iterations,
    converged,
    variance: varianceOf(r, linear.weights, shape),
    covariance: invertSymmetric(normal, n),
  };
}

/** Norm of block b of the residuals. */
function blockNorm(r: Float64Array, b: number, block: number): number {
  let q = 0;
  for (let k = 0; k < block; k++) q += r[b * block + k]! * r[b * block + k]!;
  return Math.sqrt(q);
}

/** Weight of residual i: its block's; what is left over behind the last block counts with it. */
function weightAt(weights: Float64Array, i: number, { block, blocks }: Shape): number {
  return weights[Math.min(blocks - 1, Math.floor(i / block))]!;
}

/** Σ ρ; infinite where a residual is no number, so that such a step is refused. */
function costOf(r: Float64Array, { block, blocks, loss }: Shape): number {
  let s = 0;
  for (let b = 0; b < blocks; b++) s += lossValue(loss, blockNorm(r, b, block));
  return Number.isFinite(s) ? s : Infinity;
}

function linearise(problem: LeastSquaresProblem, shape: Shape, p: Float64Array, r: Float64Array, out: Linear): void {
  const { jacobian, weights, normal, gradient } = out;
  const { parameters: n, residuals: m, block, blocks, loss } = shape;
  for (let b = 0; b < blocks; b++) weights[b] = lossWeight(loss, blockNorm(r, b, block));
  if (problem.jacobian) problem.jacobian(p, jacobian);
  else numericJacobian(problem, p, m, jacobian);
  normal.fill(0);
  gradient.fill(0);
  for (let i = 0; i < m; i++) {
    const w = weightAt(weights, i, shape);
    if (w === 0) continue;
    const ri = r[i]! * w;
    for (let a = 0; a < n; a++) {
      const ja = jacobian[i * n + a]!;
      if (ja === 0) continue;
      gradient[a] = gradient[a]! + ja * ri;
      const wja = w * ja;
      for (let b = 0; b <= a; b++) normal[a * n + b] = normal[a * n + b]! + wja * jacobian[i * n + b]!;
    }
  }
  for (let a = 0; a < n; a++) for (let b = 0; b < a; b++) normal[b * n + a] = normal[a * n + b]!;
}

/** (Jᵀ W J + λ diag) step = Jᵀ W r; null where that has no solution. */
function dampedStep({ normal, gradient }: Linear, lambda: number): Float64Array | null {
  const n = gradient.length;
  const damped = Float64Array.from(normal);
  for (let a = 0; a < n; a++) damped[a * n + a] = normal[a * n + a]! * (1 + lambda) + 1e-300;
  const factor = choleskyFactor(damped, n);
  return factor === null ? null : solveWithFactor(factor, gradient, n);
}

/** p less the step, and whether the step changes p by no more than rounding does. */
function stepped(p: Float64Array, step: Float64Array): { trial: Float64Array<ArrayBuffer>; small: boolean } {
  const trial = new Float64Array(p.length);
  let small = true;
  for (let a = 0; a < p.length; a++) {
    trial[a] = p[a]! - step[a]!;
    if (Math.abs(step[a]!) > 1e-10 * (Math.abs(p[a]!) + 1e-10)) small = false;
  }
  return { trial, small };
}

function varianceOf(r: Float64Array, weights: Float64Array, shape: Shape): number {
  let sum = 0;
  let squares = 0;
  for (let i = 0; i < shape.residuals; i++) {
    const w = weightAt(weights, i, shape);
    sum += w;
    squares += w * r[i]! * r[i]!;
  }
  return squares / Math.max(1e-12, sum - shape.parameters);
}

/** Central differences. */
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
