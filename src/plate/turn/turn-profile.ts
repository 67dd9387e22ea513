/**
 * Yaw of every frame from key poses and the surface's rate: linear least squares over the yaws and the scale (degrees
 * of yaw a unit of surface rate): steps follow the rate, the rate changes smoothly, and the key poses hold. What is
 * wider than deep slides more slowly when it faces the camera than when it stands sideways, so the scale swings with
 * twice the yaw, by as much as poses and usual bodies say. Where the surface says nothing, smoothness alone bridges.
 * Covariance through the normal equations; outlying rates lose weight (Huber, twice).
 */
import { framesPerSecond, type Rate } from '../../core/rational.js';
import { choleskyFactor, invertSymmetric, solveWithFactor } from '../../geometry/linear-solve.js';
import type { SurfaceRate } from './turn-flow.js';
import type { Pose } from './turn-poses.js';
import type { Turn } from '../types.js';

/** sd of a pose read by eye, degrees (the program's own choice). */
export const POSE_SD = 2;

/** At most this many frames are solved at once. */
export const PROFILE_LIMIT = 700;

/** How much the scale swings with twice the yaw, as a share of itself: mean and sd of what is usual. */
export interface Swing {
  readonly mean: number;
  readonly sd: number;
}
/**
 * A person: the chest's front lies about .12 m from the body's axis, the shoulder's side about .22 m, arms between
 * (common practice, no source): depth over width of .55 to .8, of which the swing is (1 − ratio) / (1 + ratio).
 */
export const PERSON_SWING: Swing = { mean: 0.2, sd: 0.12 };
/** A head, or what nothing is known of. */
export const ANY_SWING: Swing = { mean: 0, sd: 0.15 };
/** The same where the widest side is not seen at 0° or 90° (an arm held in front): sd about zero. */
const ASKEW_SD = 0.1;

/** What the profile is solved from. */
interface ProfileProblem {
  /** Frames solved, the first of which is `first`. Unknowns: their yaws, the scale, and its swing by cos and sin. */
  readonly n: number;
  readonly first: number;
  readonly poses: readonly Pose[];
  readonly rates: readonly SurfaceRate[];
  readonly swing: Swing;
  /** The surface says enough to follow. */
  readonly useful: boolean;
  /** Degrees a frame of the fastest stretch between poses; at least one. */
  readonly usual: number;
}

/** The solution so far: scale, yaws to read the swing at, and each rate's weight. */
interface ProfileState {
  readonly scale: number;
  readonly yawAt: Float64Array;
  readonly weights: readonly number[];
}

/**
 * @param poses at least two, on different frames, unwrapped
 * @param rates one for each frame after `first`
 */
export function solveProfile(
  poses: readonly Pose[],
  rates: readonly SurfaceRate[],
  first: number,
  rate: Rate,
  swing: Swing = ANY_SWING,
): Turn {
  const n = rates.length + 1;
  const size = n + 3;
  const span = Math.abs(poses.at(-1)!.yawDeg - poses[0]!.yawDeg);
  const known = rates
    .filter((r) => Number.isFinite(r.spread))
    .map((r) => Math.abs(r.rate))
    .sort((a, b) => a - b);
  const peak = known[Math.floor(known.length * 0.9)] ?? 0;
  const useful = known.length >= 0.3 * rates.length && peak > 0.004;
  const problem: ProfileProblem = { n, first, poses, rates, swing, useful, usual: usualStep(poses) };
  const moved = known.reduce((s, v) => s + v, 0);
  let state: ProfileState = {
    scale: useful ? span / Math.max(1e-6, moved) : 0,
    yawAt: startingYaws(poses, n, first),
    weights: rates.map(() => 1),
  };
  let y: Float64Array = new Float64Array(size);
  let matrix = new Float64Array(size * size);
  for (let round = 0; round < 6; round++) {
    const equations = profileEquations(problem, state);
    matrix = equations.matrix;
    const factor = choleskyFactor(matrix, size);
    if (factor === null) break;
    y = solveWithFactor(factor, equations.rhs, size);
    state = {
      scale: y[n]!,
      weights: rates.map((r, i) => rateWeight(problem, { ...state, scale: y[n]! }, y, i) ?? state.weights[i]!),
      yawAt: y.slice(0, n),
    };
  }
  const covariance = invertSymmetric(matrix, size);
  const out: { frame: number; yawDeg: number; sd: number }[] = [];
  for (let i = 0; i < n; i++)
    out.push({
      frame: first + i,
      yawDeg: y[i]!,
      // The surface can err by the same share over many frames (a wider hip, an arm in front): hence the quarter.
      sd: 1.25 * Math.sqrt(Math.max(0.25, covariance === null ? 25 : covariance[i * size + i]!)),
    });
  return turnOfYaws(out, rate);
}

function usualStep(poses: readonly Pose[]): number {
  const last = poses.at(-1)!;
  const span = Math.abs(last.yawDeg - poses[0]!.yawDeg);
  return Math.max(
    1,
    span / Math.max(1, last.frame - poses[0]!.frame),
    ...poses.slice(1).map((p, i) => Math.abs(p.yawDeg - poses[i]!.yawDeg) / Math.max(1, p.frame - poses[i]!.frame)),
  );
}

/** Standard deviation of a step read from the surface, degrees, and cos and sin of twice the yaw there. */
function stepAt(r: SurfaceRate, i: number, { scale, yawAt }: ProfileState): { sd: number; cos: number; sin: number } {
  const twice = ((yawAt[i]! + yawAt[i + 1]!) * Math.PI) / 180;
  return {
    sd: 0.3 + 0.12 * Math.abs(scale * r.rate) + Math.abs(scale) * r.spread,
    cos: Math.cos(twice),
    sin: Math.sin(twice),
  };
}

/**
 * Normal equations: poses hold, steps follow the surface, the rate changes smoothly, scale and swing are weakly held.
 */
function profileEquations(
  { n, first, poses, rates, swing, useful, usual }: ProfileProblem,
  state: ProfileState,
): { matrix: Float64Array<ArrayBuffer>; rhs: Float64Array } {
  const size = n + 3;
  const matrix = new Float64Array(size * size);
  const rhs = new Float64Array(size);
  const add = (terms: readonly (readonly [number, number])[], value: number, sd: number): void => {
    const w = 1 / (sd * sd);
    for (const [i, a] of terms) {
      rhs[i] = rhs[i]! + w * a * value;
      for (const [j, b] of terms) matrix[i * size + j] = matrix[i * size + j]! + w * a * b;
    }
  };
  const { scale, weights } = state;
  for (const p of poses) if (p.frame >= first && p.frame < first + n) add([[p.frame - first, 1]], p.yawDeg, POSE_SD);
  rates.forEach((r, i) => {
    if (!useful || !Number.isFinite(r.spread)) return;
    const { sd, cos, sin } = stepAt(r, i, state);
    const terms = [
      [i + 1, 1],
      [i, -1],
      [n, -r.rate],
      [n + 1, -r.rate * cos],
      [n + 2, -r.rate * sin],
    ] as const;
    add(terms, 0, sd / Math.sqrt(weights[i]!));
  });
  const bend = useful ? 0.3 * usual : 0.12 * usual;
  for (let i = 1; i < n - 1; i++) {
    const second = [
      [i - 1, 1],
      [i, -2],
      [i + 1, 1],
    ] as const;
    add(second, 0, bend);
  }
  add([[n, 1]], scale, useful ? 5 * Math.abs(scale) + 1 : 1e-3);
  const share = useful ? Math.max(1e-6, Math.abs(scale)) : 1e-3;
  add([[n + 1, 1]], swing.mean * scale, swing.sd * share);
  add([[n + 2, 1]], 0, ASKEW_SD * share);
  // At the ends a body tends to rest.
  for (const [from, to] of [
    [0, 1],
    [n - 2, n - 1],
  ] as const) {
    const step = [
      [from, -1],
      [to, 1],
    ] as const;
    add(step, 0, 2 * usual);
  }
  return { matrix, rhs };
}

/** Huber weight of a rate under a solution; null where the surface says nothing there. */
function rateWeight({ n, rates }: ProfileProblem, state: ProfileState, y: Float64Array, i: number): number | null {
  const r = rates[i]!;
  if (!Number.isFinite(r.spread)) return null;
  const { sd, cos, sin } = stepAt(r, i, state);
  const e = Math.abs(y[i + 1]! - y[i]! - r.rate * (state.scale + y[n + 1]! * cos + y[n + 2]! * sin)) / sd;
  return e < 1.5 ? 1 : 1.5 / e;
}

/** Straight lines between the poses: where the swing is first read. */
function startingYaws(poses: readonly Pose[], n: number, first: number): Float64Array {
  const out = new Float64Array(n);
  for (let i = 0; i < n; i++) {
    const f = i + first;
    const after = poses.findIndex((p) => p.frame >= f);
    const b = poses[after < 0 ? poses.length - 1 : after]!;
    const a = poses[after <= 0 ? (after < 0 ? poses.length - 1 : 0) : after - 1]!;
    out[i] = a.frame === b.frame ? b.yawDeg : a.yawDeg + ((b.yawDeg - a.yawDeg) * (f - a.frame)) / (b.frame - a.frame);
  }
  return out;
}

/** Peak rate, first and last turning frame of yaws on consecutive frames. */
export function turnOfYaws(
  out: readonly { readonly frame: number; readonly yawDeg: number; readonly sd: number }[],
  rate: Rate,
): Turn {
  const n = out.length;
  const first = out[0]!.frame;
  const fps = framesPerSecond(rate);
  const speed = out.map(
    (_, i) =>
      (Math.abs(out[Math.min(n - 1, i + 1)]!.yawDeg - out[Math.max(0, i - 1)]!.yawDeg) * fps) /
      Math.max(1, Math.min(n - 1, i + 1) - Math.max(0, i - 1)),
  );
  const peakRate = Math.max(0, ...speed);
  // Turning where the rate is above a tenth of its peak and above two degrees a second.
  const moving = speed.map((v, i) => (v > Math.max(2, 0.1 * peakRate) ? first + i : -1)).filter((f) => f >= 0);
  return { frames: out, peakDegPerSecond: peakRate, startFrame: moving[0] ?? null, stopFrame: moving.at(-1) ?? null };
}
