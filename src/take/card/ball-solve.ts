/** Direction of the key on the ball by Gauss-Newton over the sphere, and how far it may be off. */
import { draw, type Scene, type Vec } from './card-ball-scene.js';
import { type Fit, LINEAR, evaluate, fillShading } from './ball-shading.js';
import { jointInverse, solveTwoUnknowns, type Gradients } from './two-unknowns.js';

/** Neighbouring pixels share their noise (demosaic, compression): a standard deviation counts twice. Own choice. */
const SHARED_NOISE = 2;
/** Longest step over the sphere, and the one after which the direction stands, radians. */
const LONGEST_STEP = 0.35;
const LEAST_STEP = 5e-4;
/** Half the difference over which the prediction's change is read, radians. */
const DIFFERENCE = 0.02;
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

/**
 * The light's direction from a start, over the two angles beside it. Null where the levels are not held at the start.
 * @param scale robust scale of the residuals
 */
export function solve(s: Scene, start: Vec, scale: number, mostSteps: number): { l: Vec; fit: Fit } | null {
  const first = evaluate(s, 0, start, null, scale);
  const startFit = first === null ? null : evaluate(s, 0, start, first.residual, scale);
  if (startFit === null) return null;
  const { at, fit } = solveTwoUnknowns<Vec, Fit>(
    {
      gradients: (l, at) => gradients(s, l, across(l), at),
      moved: (l, u, v) => turned(l, across(l), u, v),
      evaluate: (l, before) => evaluate(s, 0, l, before, scale),
      longest: [LONGEST_STEP, LONGEST_STEP],
      small: (u, v) => !(Math.hypot(u, v) > LEAST_STEP),
      scale,
      mostSteps,
    },
    start,
    startFit,
  );
  return { l: at, fit };
}

/** Change of the prediction along both tangents at the fitted levels. */
function gradients(s: Scene, l: Vec, t: readonly [Vec, Vec], fit: Fit): Gradients {
  const along = (u: number, v: number): Float32Array => {
    const ahead = draw(s, turned(l, t, u, v));
    const behind = draw(s, turned(l, t, -u, -v));
    return ahead.lit.map(
      (x, i) =>
        (fit.linear[6]! * (x - behind.lit[i]!) - fit.linear[3]! * (ahead.shadow[i]! - behind.shadow[i]!)) /
        (2 * DIFFERENCE),
    );
  };
  return [along(DIFFERENCE, 0), along(0, DIFFERENCE)];
}

/** Standard deviation of the direction, radians, its worse axis, with all levels free; null where it is not held. */
export function directionSd(s: Scene, l: Vec, fit: Fit): number | null {
  const noise = Math.max(0.002, fit.mad);
  const inverse = jointInverse(gradients(s, l, across(l), fit), fit.residual, noise, LINEAR, (row, at) =>
    fillShading(row, s, fit.lit, fit.shadow, at),
  );
  const second = LINEAR + 3;
  return inverse === null ? null : SHARED_NOISE * noise * Math.sqrt(Math.max(inverse[0]!, inverse[second]!));
}
