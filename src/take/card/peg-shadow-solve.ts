/** Direction and length of a peg's shadow from a start, and their covariance. */
import { REACH_MM, drawPegShadow, type PegScene } from './peg-scene.js';
import { type Evaluation, LINEAR, evaluate, fill } from './peg-shadow-model.js';
import { jointInverse, solveTwoUnknowns, type Gradients } from './two-unknowns.js';

/** Neighbouring pixels share their noise (demosaic, compression): a standard deviation counts twice. Own choice. */
export const SHARED_NOISE = 2;
/** Longest step of direction (radians) and length (millimetres), and those after which the shadow stands. */
const LONGEST_STEP = [0.25, 20] as const;
const LEAST_STEP = [2e-4, 0.02] as const;
/** Shorter than this a shadow lies under its peg, millimetres: at the start, and on the way. */
const SHORTEST_START_MM = 8;
const SHORTEST_MM = 5;

/** A shadow on the card: direction from the peg in radians, length in millimetres. */
interface ShadowPlace {
  readonly theta: number;
  readonly length: number;
}

/**
 * The shadow that fits best near a start. Null where the levels are not held there.
 * @param scale robust scale of the residuals
 */
export function solve(
  s: PegScene,
  start: ShadowPlace,
  scale: number,
  mostSteps: number,
): (ShadowPlace & { fit: Evaluation }) | null {
  const from = { theta: start.theta, length: Math.max(SHORTEST_START_MM, start.length) };
  const startFit = evaluate(s, from.theta, from.length, scale);
  if (startFit === null) return null;
  const { at, fit } = solveTwoUnknowns<ShadowPlace, Evaluation>(
    {
      gradients: (at, fit) => gradients(s, at, fit),
      moved: (at, turn, more) => ({
        theta: at.theta + turn,
        length: Math.max(SHORTEST_MM, Math.min(REACH_MM, at.length + more)),
      }),
      evaluate: (at, before) => evaluate(s, at.theta, at.length, scale, before),
      longest: LONGEST_STEP,
      small: (turn, more) => Math.abs(turn) < LEAST_STEP[0] && Math.abs(more) < LEAST_STEP[1],
      scale,
      mostSteps,
    },
    from,
    startFit,
  );
  return { ...at, fit };
}

/** Change of the prediction with direction and length at the fitted depth. */
function gradients(s: PegScene, { theta, length }: ShadowPlace, fit: Evaluation): Gradients {
  const turn = Math.min(0.05, 1 / Math.max(10, length));
  const more = 1;
  const k = -fit.linear[3]!;
  const difference = (a: Float32Array, b: Float32Array, step: number): Float32Array =>
    a.map((v, i) => (k * (v - b[i]!)) / step);
  return [
    difference(drawPegShadow(s, theta + turn, length), drawPegShadow(s, theta - turn, length), 2 * turn),
    difference(drawPegShadow(s, theta, length + more), drawPegShadow(s, theta, length - more), 2 * more),
  ];
}

/** Variances of direction, length and lost light, with all unknowns in one system; null where they are not held. */
export function shadowCovariance(s: PegScene, at: ShadowPlace, fit: Evaluation): [number, number, number] | null {
  const inverse = jointInverse(gradients(s, at, fit), fit.residual, fit.scale, LINEAR, (row, i) =>
    fill(row, s, fit.shadow, i),
  );
  if (inverse === null) return null;
  const n = LINEAR + 2;
  const scale = (SHARED_NOISE * Math.max(0.002, fit.mad)) ** 2;
  // Lost light is the fourth of the linear unknowns, which stand behind the two.
  const lost = 5;
  return [inverse[0]! * scale, inverse[n + 1]! * scale, inverse[lost * n + lost]! * scale];
}
