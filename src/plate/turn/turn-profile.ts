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
  const frames = Math.max(1, poses.at(-1)!.frame - poses[0]!.frame);
  const usual = Math.max(
    1,
    span / frames,
    ...poses.slice(1).map((p, i) => Math.abs(p.yawDeg - poses[i]!.yawDeg) / Math.max(1, p.frame - poses[i]!.frame)),
  );
  const known = rates
    .filter((r) => Number.isFinite(r.spread))
    .map((r) => Math.abs(r.rate))
    .sort((a, b) => a - b);
  const peak = known[Math.floor(known.length * 0.9)] ?? 0;
  const useful = known.length >= 0.3 * rates.length && peak > 0.004;
  const weights = rates.map(() => 1);
  let y: Float64Array = new Float64Array(size);
  let matrix = new Float64Array(size * size);
  const yawAt = startingYaws(poses, n, first);
  let scale = useful
    ? span /
      Math.max(
        1e-6,
        known.reduce((s, v) => s + v, 0),
      )
    : 0;
  for (let round = 0; round < 6; round++) {
    matrix = new Float64Array(size * size);
    const rhs = new Float64Array(size);
    const add = (terms: readonly (readonly [number, number])[], value: number, sd: number): void => {
      const w = 1 / (sd * sd);
      for (const [i, a] of terms) {
        rhs[i] = rhs[i]! + w * a * value;
        for (const [j, b] of terms) matrix[i * size + j] = matrix[i * size + j]! + w * a * b;
      }
    };
    for (const p of poses) if (p.frame >= first && p.frame < first + n) add([[p.frame - first, 1]], p.yawDeg, POSE_SD);
    rates.forEach((r, i) => {
      if (!useful || !Number.isFinite(r.spread)) return;
      const sd = 0.3 + 0.12 * Math.abs(scale * r.rate) + Math.abs(scale) * r.spread;
      const twice = ((yawAt[i]! + yawAt[i + 1]!) * Math.PI) / 180;
      add(
        [
          [i + 1, 1],
          [i, -1],
          [n, -r.rate],
          [n + 1, -r.rate * Math.cos(twice)],
          [n + 2, -r.rate * Math.sin(twice)],
        ],
        0,
        sd / Math.sqrt(weights[i]!),
      );
    });
    const bend = useful ? 0.3 * usual : 0.12 * usual;
    for (let i = 1; i < n - 1; i++)
      add(
        [
          [i - 1, 1],
          [i, -2],
          [i + 1, 1],
        ],
        0,
        bend,
      );
    add([[n, 1]], scale, useful ? 5 * Math.abs(scale) + 1 : 1e-3);
    const share = useful ? Math.max(1e-6, Math.abs(scale)) : 1e-3;
    add([[n + 1, 1]], swing.mean * scale, swing.sd * share);
    add([[n + 2, 1]], 0, ASKEW_SD * share);
    // The surface can err by the same share over many frames (a wider hip, an arm in front): hence the quarter
    // on every sd. At the ends a body tends to rest.
    add(
      [
        [0, -1],
        [1, 1],
      ],
      0,
      2 * usual,
    );
    add(
      [
        [n - 2, -1],
        [n - 1, 1],
      ],
      0,
      2 * usual,
    );
    const factor = choleskyFactor(matrix, size);
    if (factor === null) break;
    y = solveWithFactor(factor, rhs, size);
    scale = y[n]!;
    rates.forEach((r, i) => {
      if (!Number.isFinite(r.spread)) return;
      const sd = 0.3 + 0.12 * Math.abs(scale * r.rate) + Math.abs(scale) * r.spread;
      const twice = ((yawAt[i]! + yawAt[i + 1]!) * Math.PI) / 180;
      const e =
        Math.abs(y[i + 1]! - y[i]! - r.rate * (scale + y[n + 1]! * Math.cos(twice) + y[n + 2]! * Math.sin(twice))) / sd;
      weights[i] = e < 1.5 ? 1 : 1.5 / e;
    });
    for (let i = 0; i < n; i++) yawAt[i] = y[i]!;
  }
  const covariance = invertSymmetric(matrix, size);
  const out: { frame: number; yawDeg: number; sd: number }[] = [];
  for (let i = 0; i < n; i++)
    out.push({
      frame: first + i,
      yawDeg: y[i]!,
      sd: 1.25 * Math.sqrt(Math.max(0.25, covariance === null ? 25 : covariance[i * size + i]!)),
    });
  return turnOfYaws(out, rate);
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
