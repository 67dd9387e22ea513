/**
 * Robust model fitting without a hand-set inlier threshold: random minimal samples scored by the loss marginalised over
 * the noise scale (MAGSAC++, Barath et al., CVPR 2020, equations 5 to 8), the best ones polished by iteratively
 * reweighted least squares with its weights (σ-consensus++), and the number of samples bounded by the usual confidence
 * formula (Fischler & Bolles, CACM 1981). Seeded, so the same data give the same model.
 */
import type { RandomStream } from '../core/random.js';

/** A model M to be found among data of which many are wrong. */
export interface RobustProblem<M> {
  readonly count: number;
  readonly sampleSize: number;
  /** Model of a sample (indices, with weights when polished); null where the sample is degenerate. */
  readonly fit: (indices: readonly number[], weights?: Float64Array) => M | null;
  /** Writes the residual (a distance, px) of every datum. */
  readonly residuals: (model: M, out: Float64Array) => void;
  /** Largest noise sigma thought possible, px. Residuals above 3.03 of it (2-D) count as outliers. */
  readonly maxSigma: number;
  readonly random: RandomStream;
  /** Chance that an all-inlier sample was drawn, default 0.999. */
  readonly confidence?: number;
  readonly maxSamples?: number;
  readonly minSamples?: number;
  /** Optional model to score first (last frame's). */
  readonly guess?: M | null;
}

/** The model found. */
export interface RobustResult<M> {
  readonly model: M;
  /** MAGSAC++ weight of each datum scaled to 0..1. */
  readonly weights: Float64Array;
  readonly residuals: Float64Array;
  /** Share of data whose residual is below the cut-off. */
  readonly support: number;
  readonly samples: number;
}

/** √ of the 0.99 quantile of the chi-square with two degrees of freedom. */
const K = Math.sqrt(-2 * Math.log(0.01));
const TABLE = 1024;

/**
 * Weight and loss tables of MAGSAC++ for residuals of two coordinates, over u = r / (K σmax) in 0..1.
 * w(r) ∝ Γ(1/2, r²/2σmax²) − Γ(1/2, K²/2); Γ(1/2, x) = √π erfc(√x). ρ(r) = ∫ x w(x) dx, saturating at u = 1.
 */
function tables(): { weight: Float64Array; loss: Float64Array } {
  const weight = new Float64Array(TABLE + 1);
  const loss = new Float64Array(TABLE + 1);
  const tail = erfc(K / Math.SQRT2);
  const top = 1 - tail;
  for (let i = 0; i <= TABLE; i++) weight[i] = Math.max(0, (erfc(((i / TABLE) * K) / Math.SQRT2) - tail) / top);
  for (let i = 1; i <= TABLE; i++) {
    const u0 = (i - 1) / TABLE;
    const u1 = i / TABLE;
    loss[i] = loss[i - 1]! + (0.5 * (u0 * weight[i - 1]! + u1 * weight[i]!)) / TABLE;
  }
  const full = loss[TABLE]!;
  for (let i = 0; i <= TABLE; i++) loss[i] = loss[i]! / full;
  return { weight, loss };
}

/** Complementary error function, |error| < 1.2e-7 (Numerical Recipes, erfcc). */
function erfc(x: number): number {
  const z = Math.abs(x);
  const t = 1 / (1 + 0.5 * z);
  const r =
    t *
    Math.exp(
      -z * z -
        1.26551223 +
        t *
          (1.00002368 +
            t *
              (0.37409196 +
                t *
                  (0.09678418 +
                    t *
                      (-0.18628806 +
                        t *
                          (0.27886807 + t * (-1.13520398 + t * (1.48851587 + t * (-0.82215223 + t * 0.17087277)))))))),
    );
  return x >= 0 ? r : 2 - r;
}

interface Scored<M> {
  readonly model: M;
  readonly score: number;
}

/** Loss of the residuals, saturating at the cut-off; infinite where they are no numbers. */
function lossOf(residuals: Float64Array, cut: number, loss: Float64Array): number {
  let sum = 0;
  for (let i = 0; i < residuals.length; i++) {
    const u = residuals[i]! / cut;
    sum += u < 1 ? loss[(u * TABLE) | 0]! : 1;
  }
  return Number.isFinite(sum) ? sum : Infinity;
}

/** Weights of the residuals, written into `out`; how many lie below the cut-off. */
function weigh(residuals: Float64Array, cut: number, weight: Float64Array, out: Float64Array): number {
  let inside = 0;
  for (let i = 0; i < residuals.length; i++) {
    const u = residuals[i]! / cut;
    if (u < 1) {
      out[i] = weight[(u * TABLE) | 0]!;
      inside++;
    } else out[i] = 0;
  }
  return inside;
}

/** Fits a model; null where no sample gave one. */
export function robustFit<M>(problem: RobustProblem<M>): RobustResult<M> | null {
  const { count, sampleSize, random } = problem;
  if (count < sampleSize) return null;
  const confidence = problem.confidence ?? 0.999;
  const maxSamples = problem.maxSamples ?? 2000;
  const minSamples = problem.minSamples ?? 30;
  const { weight, loss } = tables();
  const cut = K * problem.maxSigma;
  const residuals = new Float64Array(count);
  const weights = new Float64Array(count);
  const all = Array.from({ length: count }, (_, i) => i);
  const score = (model: M): number => {
    problem.residuals(model, residuals);
    return lossOf(residuals, cut, loss);
  };

  /** Reweighted least squares from a model whose residuals were just scored, as long as the score falls. */
  const polish = (model: M, scored: number): Scored<M> => {
    let current = model;
    let s = scored;
    for (let round = 0; round < 6; round++) {
      if (weigh(residuals, cut, weight, weights) < sampleSize) break;
      const next = problem.fit(all, weights);
      if (next === null) break;
      const t = score(next);
      if (t < s) current = next;
      const done = t >= s - 1e-9 * s;
      s = Math.min(s, t);
      if (done) break;
    }
    return { model: current, score: s };
  };

  const found: { best: Scored<M> | null; needed: number } = { best: null, needed: maxSamples };
  const consider = (model: M): void => {
    const s = score(model);
    if (s >= (found.best?.score ?? Infinity)) return;
    found.best = polish(model, s);
    problem.residuals(found.best.model, residuals);
    const share = weigh(residuals, cut, weight, weights) / count;
    const hit = Math.max(1e-12, share ** sampleSize);
    found.needed = Math.min(maxSamples, hit >= 1 ? 0 : Math.log(1 - confidence) / Math.log(1 - hit));
  };

  if (problem.guess != null) consider(problem.guess);
  let samples = 0;
  while (samples < maxSamples && (samples < minSamples || samples < found.needed)) {
    samples++;
    const model = problem.fit(drawSample(random, count, sampleSize));
    if (model !== null) consider(model);
  }
  if (found.best === null) return null;
  const { model } = found.best;
  problem.residuals(model, residuals);
  const inside = weigh(residuals, cut, weight, weights);
  return { model, weights, residuals, support: inside / count, samples };
}

/** So many different indices below `count`. */
function drawSample(random: RandomStream, count: number, size: number): number[] {
  const pick: number[] = [];
  while (pick.length < size) {
    const i = random.below(count);
    if (!pick.includes(i)) pick.push(i);
  }
  return pick;
}
