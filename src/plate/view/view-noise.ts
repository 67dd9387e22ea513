/**
 * How much noisier the marks are than is usual for a hand, told by how they disagree with each other, and the view
 * solved with that: the variance of unit weight, estimated and fed back (Koch, Parameter Estimation and Hypothesis
 * Testing in Linear Models, 1999, section 3.2.4, cited from memory). Were it only to widen the answer's doubt
 * afterwards, marks drawn three pixels off would still outvote the usual lens in the answer itself.
 */
import type { LeastSquaresResult } from '../../geometry/levenberg-marquardt.js';
import type { ViewObservation } from './view-observations.js';
import type { ViewProblem } from './view-problem.js';

/** The usual noise weighs as much as so many residuals to spare. */
const USUAL_WEIGHT = 4;
/** A variance that is off by less is left as it is. */
const SETTLED = 1.1;
const ROUNDS = 4;

export interface WithinNoise {
  readonly problem: ViewProblem;
  readonly best: LeastSquaresResult;
  /** Times the usual noise that the marks were taken to have, 1 and more. */
  readonly times: number;
}

/** Solves with the usual noise, and again with the noise that the fit shows, until that is settled. */
export function solveWithinNoise(
  observations: readonly ViewObservation[],
  problemOf: (observations: readonly ViewObservation[]) => ViewProblem,
  solve: (problem: ViewProblem) => LeastSquaresResult,
): WithinNoise {
  let problem = problemOf(observations);
  let best = solve(problem);
  let times = 1;
  for (let round = 0; round < ROUNDS; round++) {
    const spare = problem.residualCount - problem.parameterCount;
    const variance = (best.cost + USUAL_WEIGHT) / (spare + USUAL_WEIGHT);
    if (!(variance > SETTLED)) break;
    times *= Math.sqrt(variance);
    problem = problemOf(observations.map((o) => noisier(o, times)));
    best = solve(problem);
  }
  return { problem, best, times };
}

/** The same observation, its noise (of points, lean, height) `times` as large. */
function noisier(o: ViewObservation, times: number): ViewObservation {
  switch (o.kind) {
    case 'upright':
      return { ...o, sdPx: o.sdPx * times, leanSd: o.leanSd * times, heightSd: o.heightSd * times };
    case 'vertical':
      return { ...o, sdPx: o.sdPx * times, angleSd: o.angleSd * times };
    case 'sight':
      return { ...o, sdRad: o.sdRad * times };
    default:
      return { ...o, sdPx: o.sdPx * times };
  }
}
