/**
 * Robust Gauss-Newton over two unknowns of a drawn picture whose other unknowns, the light levels, enter linearly and
 * are fitted anew at every place (variable projection, Golub & Pereyra 1973), with Levenberg-Marquardt damping and a
 * Huber loss; and what remains uncertain of the two with all unknowns in one system. The peg's shadow (direction,
 * length) and the lit ball (two angles of the light) are solved so.
 */
import { invertSymmetric } from '../../geometry/linear-solve.js';

/** Where the Huber loss bends, in robust scales: 95 % efficiency under Gaussian noise. */
export const HUBER = 1.345;

/** Levels and residuals at a place; a residual is NaN where the pixel is not compared. */
export interface LinearFit {
  readonly cost: number;
  readonly residual: Float32Array;
}

/** Change of the prediction with either unknown, pixel by pixel, at fitted levels. */
export type Gradients = readonly [Float32Array, Float32Array];

export interface TwoUnknowns<Place, Fit extends LinearFit> {
  readonly gradients: (at: Place, fit: Fit) => Gradients;
  /** The place a step away, held to what makes sense. */
  readonly moved: (at: Place, du: number, dv: number) => Place;
  /** Weighted by the residuals before; null where the levels are not held. */
  readonly evaluate: (at: Place, before: Float32Array) => Fit | null;
  /** The longest step of either unknown, and whether a step is too small to go on. */
  readonly longest: readonly [number, number];
  readonly small: (du: number, dv: number) => boolean;
  /** Robust scale of the residuals. */
  readonly scale: number;
  readonly mostSteps: number;
}

/** Weight of a residual under the Huber loss; `scale` is the residuals' robust standard deviation. */
export function huberWeight(residual: number, scale: number): number {
  return Math.min(1, (HUBER * scale) / Math.max(1e-9, Math.abs(residual)));
}

/** Huber loss of a residual in robust scales; behaves as t² near zero. */
export function huberLoss(t: number): number {
  return t <= HUBER ? t * t : 2 * HUBER * t - HUBER * HUBER;
}

/** The best place near a start whose fit is known. */
export function solveTwoUnknowns<Place, Fit extends LinearFit>(
  problem: TwoUnknowns<Place, Fit>,
  start: Place,
  startFit: Fit,
): { at: Place; fit: Fit } {
  let at = start;
  let fit = startFit;
  let lambda = 1e-2;
  for (let iteration = 0; iteration < problem.mostSteps; iteration++) {
    const normal = normalOf(problem.gradients(at, fit), fit.residual, problem.scale);
    let goesOn = false;
    for (let tries = 0; tries < 5; tries++) {
      const step = dampedStep(normal, lambda, problem.longest);
      if (step === null) {
        lambda *= 10;
        continue;
      }
      const place = problem.moved(at, step.du, step.dv);
      const next = problem.evaluate(place, fit.residual);
      if (next !== null && next.cost < fit.cost) {
        goesOn = !problem.small(step.du, step.dv);
        at = place;
        fit = next;
        lambda = Math.max(1e-5, lambda / 4);
        break;
      }
      lambda *= 8;
    }
    if (!goesOn) break;
  }
  return { at, fit };
}

/** Jᵀ W J = [[uu, uv], [uv, vv]] and Jᵀ W r = [ru, rv]. */
interface Normal {
  readonly uu: number;
  readonly uv: number;
  readonly vv: number;
  readonly ru: number;
  readonly rv: number;
}

function normalOf([byU, byV]: Gradients, residual: Float32Array, scale: number): Normal {
  let uu = 0;
  let uv = 0;
  let vv = 0;
  let ru = 0;
  let rv = 0;
  for (let at = 0; at < residual.length; at++) {
    const r = residual[at]!;
    if (Number.isNaN(r)) continue;
    const w = huberWeight(r, scale);
    const x = byU[at]!;
    const y = byV[at]!;
    uu += w * x * x;
    uv += w * x * y;
    vv += w * y * y;
    ru += w * x * r;
    rv += w * y * r;
  }
  return { uu, uv, vv, ru, rv };
}

function dampedStep(
  { uu, uv, vv, ru, rv }: Normal,
  lambda: number,
  [mostU, mostV]: readonly [number, number],
): { du: number; dv: number } | null {
  const a = uu * (1 + lambda) + 1e-12;
  const c = vv * (1 + lambda) + 1e-12;
  const determinant = a * c - uv * uv;
  if (!(determinant > 0)) return null;
  return {
    du: Math.max(-mostU, Math.min(mostU, (c * ru - uv * rv) / determinant)),
    dv: Math.max(-mostV, Math.min(mostV, (a * rv - uv * ru) / determinant)),
  };
}

/**
 * Inverse of Jᵀ W J over the two unknowns (first) and the `levels` linear ones, row-major; null where they are not
 * held.
 * @param fill writes a pixel's row of the linear model
 */
export function jointInverse(
  [byU, byV]: Gradients,
  residual: Float32Array,
  scale: number,
  levels: number,
  fill: (row: Float64Array, at: number) => void,
): Float64Array | null {
  const n = levels + 2;
  const normal = new Float64Array(n * n);
  const row = new Float64Array(n);
  const linear = row.subarray(2);
  for (let at = 0; at < residual.length; at++) {
    const r = residual[at]!;
    if (Number.isNaN(r)) continue;
    const w = huberWeight(r, scale);
    fill(linear, at);
    row[0] = byU[at]!;
    row[1] = byV[at]!;
    for (let i = 0; i < n; i++) for (let j = 0; j <= i; j++) normal[i * n + j]! += w * row[i]! * row[j]!;
  }
  for (let i = 0; i < n; i++) {
    normal[i * n + i]! += 1e-9;
    for (let j = 0; j < i; j++) normal[j * n + i] = normal[i * n + j]!;
  }
  return invertSymmetric(normal, n);
}
