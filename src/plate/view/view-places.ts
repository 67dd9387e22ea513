/**
 * Whether things that are marked on several frames of a travelling camera stand in one place of the world, and the view
 * solved with those that do. A thing that walks leaves its marks far more at odds with one place than hands are
 * unsteady: the growth of the squared residuals over the constraints added, beside the residuals' own variance (the F
 * test of a linear hypothesis: Koch, Parameter Estimation and Hypothesis Testing in Linear Models, 1999, section 4.2,
 * cited from memory).
 */
import type { ViewObservation } from './view-observations.js';
import type { WithinNoise } from './view-noise.js';

/**
 * Hands up to so many times (its root) as unsteady as the marks show by themselves still mean one place (own choice).
 */
const ONE_PLACE = 25;
/** The usual noise weighs as much as so many residuals to spare. */
const USUAL_WEIGHT = 4;

export interface Placed {
  readonly solved: WithinNoise;
  /** Names of things that were taken to have walked between their frames. */
  readonly walking: readonly string[];
}

/**
 * Solves with one place for each thing that stands in one.
 *
 * @param wayTold whether the way tells the lens: one that holds for a given lens only would draw it aside
 */
export function solveWithPlaces(
  observations: readonly ViewObservation[],
  solve: (observations: readonly ViewObservation[]) => WithinNoise,
  wayTold: boolean,
): Placed {
  const names = new Set(observations.flatMap((o) => (o.kind === 'upright' && o.place !== undefined ? [o.place] : [])));
  const only = (some: ReadonlySet<string>): WithinNoise => solve(observations.map((o) => placedAmong(o, some)));
  const free = only(new Set());
  if (names.size === 0 || !wayTold) return { solved: free, walking: [] };
  const variance = (squares(free) + USUAL_WEIGHT) / (spare(free) + USUAL_WEIGHT);
  const stand = (placed: WithinNoise): boolean =>
    squares(placed) - squares(free) <
    ONE_PLACE * Math.max(1, variance) * (free.problem.parameterCount - placed.problem.parameterCount);
  const all = only(names);
  if (stand(all)) return { solved: all, walking: [] };
  const standing = new Set([...names].filter((name) => names.size > 1 && stand(only(new Set([name])))));
  return {
    solved: standing.size === 0 ? free : only(standing),
    walking: [...names].filter((name) => !standing.has(name)),
  };
}

function placedAmong(o: ViewObservation, names: ReadonlySet<string>): ViewObservation {
  if (o.kind !== 'upright' || o.place === undefined || names.has(o.place)) return o;
  const { place: _, ...alone } = o;
  return alone;
}

const spare = ({ problem }: WithinNoise): number => problem.residualCount - problem.parameterCount;

/** Squares of what the marks are off by, in their usual noise. */
function squares({ problem, best, times }: WithinNoise): number {
  let sum = 0;
  for (let i = 0; i < problem.dataResiduals; i++) sum += best.residuals[i]! ** 2;
  return sum * times * times;
}
