/**
 * Direct alignment of the known print: geometry, blur and light levels that make the predicted card equal to the
 * picture, by Gauss-Newton with Levenberg-Marquardt damping on linear-light intensities (Lucas & Kanade, IJCAI 1981, in
 * the forward additive form of Baker & Matthews, "Lucas-Kanade 20 Years On", IJCV 2004). Blur lies in the model, so it
 * moves no edge; a peg, a ball, shadows and hands are outliers of a robust loss (Huber far away, Tukey near).
 * The levels are linear: paper, ink and surroundings with a part of their own for each quarter of the card, a gradient
 * of the light, unpredicted print, and one term in paper · ink for a tone curve that was not undone exactly.
 */
import { cardClassMap } from '../../brief/card-layout.js';
import { parameterCovariance, robustScale, solveNormal } from './card-align-fit.js';
import type { AlignProblem, Alignment } from './card-align-state.js';
import { LEVELS } from './card-levels.js';
import { predict } from './card-predict.js';
import { cost, normalEquations } from './card-normal-equations.js';
import { alignmentSummary } from './card-align-summary.js';

/**
 * Aligns the card from a start within about a fiducial's cell (plus blur). Null where
 * it leaves the picture or nothing is held.
 */
export function alignCard(o: AlignProblem): Alignment | null {
  const map = cardClassMap();
  const n = o.start.length;
  let p = Float64Array.from(o.start as ArrayLike<number>);
  let sigma = Math.max(o.leastSigmaPx, o.sigmaPx);
  let state = predict(o, map, p, sigma, { state: null, scale: 0 });
  if (state === null) return null;
  let scale = robustScale(state.residual);
  // Once more with weights: the first levels were plain least squares.
  state = predict(o, map, p, sigma, { state, scale }) ?? state;
  scale = robustScale(state.residual);
  let lambda = 1e-3;
  let hessian: Float64Array | null = null;
  for (let iteration = 0; iteration < o.maxIterations; iteration++) {
    const normal = normalEquations(o, state, p, sigma, scale);
    if (normal === null) return null;
    hessian = normal.a;
    const before = cost(o, state.residual, scale, p);
    let moved = false;
    let small = false;
    for (let tries = 0; tries < 6; tries++) {
      const step = solveNormal(normal.a, normal.b, n + 1 + LEVELS, lambda);
      if (step === null) {
        lambda *= 10;
        continue;
      }
      const q = Float64Array.from(p, (v, i) => v + step[i]!);
      const s = Math.max(o.leastSigmaPx, Math.min(12, sigma * Math.exp(Math.max(-0.5, Math.min(0.5, step[n]!)))));
      const next = predict(o, map, q, s, { state, scale });
      if (next !== null && next.used > 0.6 * state.used) {
        const after = cost(o, next.residual, scale, q);
        if (after < before) {
          small = before - after < 5e-5 * before;
          p = q;
          sigma = s;
          state = next;
          moved = true;
          lambda = Math.max(1e-6, lambda / 5);
          break;
        }
      }
      lambda *= 6;
    }
    if (!moved) break;
    const newScale = robustScale(state.residual);
    // The scale may shrink as the fit gets better, but not while that would throw away half the card.
    scale = Math.max(newScale, 0.5 * scale);
    if (small && newScale > 0.9 * scale) break;
  }
  if (hessian === null) return null;
  const last = normalEquations(o, state, p, sigma, scale);
  const covariance = last === null ? null : parameterCovariance(last.a, n, n + 1 + LEVELS, scale);
  return {
    parameters: p,
    toPixel: state.toPixel,
    sigmaPx: sigma,
    covariance,
    noise: scale,
    ...alignmentSummary(o, state),
  };
}
