/**
 * The whole track as one estimate: each frame's fit speaks with its own information, and a plane does not jump from
 * frame to frame. The unknowns are the four corners of every frame; their first and second differences in time are
 * drawn towards none as strongly as the well-seen frames of the same track bear out (a Rauch-Tung-Striebel smoother
 * in its batch form: H. Rauch, F. Tung & C. Striebel, *Maximum Likelihood Estimates of Linear Dynamic Systems*, AIAA
 * J. 3, 1965). Where the set's own motion explains the region's better than rest does, the corners are taken relative
 * to the set. Fits that contradict all the others are given less weight by their leave-one-out distance; well-seen
 * frames are never overruled: there the motion is let go instead. Hidden frames come out as what their neighbours and
 * the set say, with the uncertainty that this leaves.
 */
import { factorBand, inverseInBand, solveBand } from '../../geometry/banded.js';
import { choleskyFactor, invertSymmetric, solveWithFactor } from '../../geometry/linear-solve.js';
import { multiply, normalise, tryInvert, type Mat3 } from '../../geometry/mat3.js';
import {
  bridges,
  INFLATION,
  meanSquares,
  rideMode,
  type Measured,
  type Ride,
  type TrackPoint,
} from './ride-measured.js';
import { congruent, D, homographyOf, jacobian, scaleOf, times, trace } from './ride-modes.js';
import type { RideTemplate } from './ride-template.js';

export interface SmoothPoint {
  readonly homography: Mat3;
  /** sd of a corner's coordinate, px. */
  readonly sdPx: number;
  /** Weight that the frame's own fit was left, 0..1. */
  readonly weight: number;
  /** The same without this frame's own fit: what the others say, and its information over the generators there. */
  readonly others: { readonly homography: Mat3; readonly information: Float64Array; readonly sdPx: number };
}

/** Half width of the equations' band: three frames of eight coordinates hang together. */
const BAND = 23;
/** Times the motion may be let go fourfold: from rest to anything. */
const LETS_GO = 8;

/** Smooths a track whose points follow each other frame by frame; the anchor's own homography is the identity. */
export function smoothTrack(template: RideTemplate, points: readonly TrackPoint[], anchorFrame: number): SmoothPoint[] {
  const raw = rideMode(template, points, anchorFrame, false);
  const withSet = points.every((p) => p.set !== null) ? rideMode(template, points, anchorFrame, true) : null;
  const chosen = withSet !== null && withSet.roughness < 0.5 * raw.roughness && bridges(withSet) ? withSet : raw;
  const solved = solveWithin(template, points, chosen);
  const home = tryInvert(solved[points.findIndex((p) => p.frame === anchorFrame)]!.homography);
  return home === null ? solved : solved.map((p) => ({ ...p, homography: normalise(multiply(p.homography, home)) }));
}

/**
 * The differences of a slow but large motion drown in the fits' noise one by one, and the spread read from them comes
 * out too small: the track is then drawn away from fits that are sure. So it is let go until it leaves them by no more
 * than they may err (the discrepancy principle: V. Morozov, *On the Solution of Functional Equations by the Method of
 * Regularization*, 1966), for place and for shape by itself.
 */
function solveWithin(template: RideTemplate, points: readonly TrackPoint[], ride: Ride): SmoothPoint[] {
  let now = ride;
  let out = solve(template, points, now);
  for (let it = 0; it < LETS_GO; it++) {
    const gap = discrepancy(now, out.means);
    const shift = gap.shift > 1 ? 4 : 1;
    const shape = gap.shape > 1 ? 4 : 1;
    if (shift * shape === 1) break;
    const grow = (v: { shift: number; shape: number }): { shift: number; shape: number } => ({
      shift: v.shift * shift,
      shape: v.shape * shape,
    });
    now = { ...now, first: grow(now.first), second: grow(now.second) };
    out = solve(template, points, now);
  }
  return out.points;
}

/**
 * Median over the sure fits of the squared distance of the track from them, in units of what noise alone would leave.
 */
function discrepancy(ride: Ride, means: readonly Float64Array[]): { shift: number; shape: number } {
  const shift: number[] = [];
  const shape: number[] = [];
  ride.measured.forEach((m, t) => {
    if (m.own === null || m.trust < 0.5 || means[t] === undefined) return;
    const z = times(m.own, m.eta!);
    let a = 0;
    let b = 0;
    for (let i = 0; i < D; i++) {
      const d = ((z[i]! - means[t]![i]!) ** 2 * INFLATION) / m.own[i * D + i]!;
      if (i < 2) a += d / 2;
      else b += d / 6;
    }
    shift.push(a);
    shape.push(b);
  });
  const middle = (v: number[]): number => (v.length < 5 ? 0 : v.sort((p, q) => p - q)[v.length >> 1]!);
  return { shift: middle(shift), shape: middle(shape) };
}

/** Means and covariances of the eight coordinates of every frame; empty where nothing could be solved. */
interface Posterior {
  mean: Float64Array[];
  covariance: Float64Array[];
}

/** The whole track by least squares, four times over, fits that the others contradict losing weight in between. */
function solve(
  template: RideTemplate,
  points: readonly TrackPoint[],
  ride: Ride,
): { points: SmoothPoint[]; means: Float64Array[] } {
  const weights = ride.measured.map((m): number => (m.lambda === null ? 0 : 1));
  const bends = localBends(ride);
  let posterior: Posterior = { mean: [], covariance: [] };
  for (let it = 0; it < 4; it++) {
    const next = solveOnce(ride, bends, weights);
    if (next === null) break;
    posterior = next;
    if (it < 3) reweigh(ride, posterior, weights);
  }
  return {
    points: points.map((p, t) => smoothPoint({ template, ride, posterior }, p, t, weights[t]!)),
    means: posterior.mean,
  };
}

/** One solution at given weights; null where the equations have none. */
function solveOnce(
  ride: Ride,
  bends: readonly { shift: number; shape: number }[],
  weights: readonly number[],
): Posterior | null {
  const { measured } = ride;
  const n = measured.length;
  const a = new Float64Array(n * D * (BAND + 1));
  const b = new Float64Array(n * D);
  const put = (i: number, j: number, v: number): void => {
    if (j <= i) a[i * (BAND + 1) + BAND + j - i] = a[i * (BAND + 1) + BAND + j - i]! + v;
  };
  for (let t = 0; t < n; t++) {
    const m = measured[t]!;
    // So weak a hold that it says something only where nothing else does.
    for (let r = 0; r < D; r++) put(t * D + r, t * D + r, 1e-7);
    if (m.lambda === null) {
      for (let r = 0; r < D; r++) b[t * D + r] = b[t * D + r]! + 1e-7 * m.z[r]!;
      continue;
    }
    for (let r = 0; r < D; r++) {
      b[t * D + r] = b[t * D + r]! + weights[t]! * m.eta![r]! + 1e-7 * m.z[r]!;
      for (let c = 0; c <= r; c++) put(t * D + r, t * D + c, weights[t]! * m.lambda[r * D + c]!);
    }
  }
  for (let t = 0; t + 1 < n; t++)
    for (let m = 0; m < D; m++) {
      const v = 1 / (4 * (m < 2 ? ride.first.shift : ride.first.shape));
      put(t * D + m, t * D + m, v);
      put((t + 1) * D + m, (t + 1) * D + m, v);
      put((t + 1) * D + m, t * D + m, -v);
      if (t + 2 >= n) continue;
      const q = 1 / (m < 2 ? bends[t + 1]!.shift : bends[t + 1]!.shape);
      const w = [1, -2, 1];
      for (let i = 0; i < 3; i++) for (let j = 0; j <= i; j++) put((t + i) * D + m, (t + j) * D + m, q * w[i]! * w[j]!);
    }
  const factor = factorBand(a, n * D, BAND);
  if (factor === null) return null;
  const x = solveBand(factor, b);
  const z = inverseInBand(factor);
  return {
    mean: measured.map((_, t) => x.slice(t * D, (t + 1) * D)),
    covariance: measured.map((_, t) => {
      const s = new Float64Array(D * D);
      for (let r = 0; r < D; r++)
        for (let c = 0; c <= r; c++) {
          s[r * D + c] = z[(t * D + r) * (BAND + 1) + BAND + c - r]!;
          s[c * D + r] = s[r * D + c]!;
        }
      return s;
    }),
  };
}

/** Takes weight from fits that lie far from what the others say, in place; what is hardly doubted keeps its own. */
function reweigh({ measured }: Ride, { mean, covariance }: Posterior, weights: number[]): void {
  for (let t = 0; t < measured.length; t++) {
    const m = measured[t]!;
    if (m.lambda === null || m.trust > 0.95) continue;
    const o = without(mean[t]!, covariance[t]!, m, weights[t]!);
    if (o === null) continue;
    // Distance of the fit from what the others say, in both their uncertainties.
    const sum = invertSymmetric(o.information, D);
    const own = invertSymmetric(m.lambda, D);
    if (sum === null || own === null) continue;
    for (let i = 0; i < D * D; i++) sum[i] = sum[i]! + own[i]!;
    const z0 = times(own, m.eta!);
    const e = z0.map((v, i) => v - o.mean[i]!);
    const f = choleskyFactor(sum, D);
    if (f === null) continue;
    const y = solveWithFactor(f, e, D);
    let distance = 0;
    for (let i = 0; i < D; i++) distance += e[i]! * y[i]!;
    const far = distance / (D * (1.5 + 6 * m.trust));
    weights[t] = far < 1 ? 1 : 1 / (far * far);
  }
}

/** A frame of the solved track, and what the others say of it. */
function smoothPoint(
  solved: { readonly template: RideTemplate; readonly ride: Ride; readonly posterior: Posterior },
  p: TrackPoint,
  t: number,
  weight: number,
): SmoothPoint {
  const { template, ride } = solved;
  const { mean, covariance } = solved.posterior;
  const { measured, relative } = ride;
  if (mean.length === 0)
    return {
      homography: p.homography,
      sdPx: 20,
      weight,
      others: { homography: p.homography, information: new Float64Array(D * D), sdPx: 20 },
    };
  const o = without(mean[t]!, covariance[t]!, measured[t]!, weight);
  const homography = homographyOf(template, mean[t]!, relative ? p.set! : null) ?? p.homography;
  const other = o === null ? homography : (homographyOf(template, o.mean, relative ? p.set! : null) ?? homography);
  const j = jacobian(template, other, relative ? tryInvert(p.set!) : null);
  const information = o === null ? new Float64Array(D * D) : congruent(o.information, j);
  const grow = relative ? scaleOf(p.set!, template) : 1;
  const oc = o === null ? null : invertSymmetric(o.information, D);
  return {
    homography,
    sdPx: grow * Math.sqrt(trace(covariance[t]!) / D),
    weight,
    others: { homography: other, information, sdPx: oc === null ? 20 : grow * Math.sqrt(trace(oc) / D) },
  };
}

/** Second differences a frame: where well-seen frames show a sharper bend than the usual one, that bend is allowed. */
function localBends(ride: Ride): { shift: number; shape: number }[] {
  const { measured, second } = ride;
  const own = measured.map((b, t) => {
    const a = measured[t - 1];
    const c = measured[t + 1];
    if (a === undefined || c === undefined || Math.min(a.trust, b.trust, c.trust) < 0.8) return null;
    const p = meanSquares([1, -2, 1], [a, b, c]);
    return {
      shift: p.shift - 3 * (a.noise.shift + b.noise.shift),
      shape: p.shape - 3 * (a.noise.shape + b.noise.shape),
    };
  });
  return own.map((o) => ({
    shift: Math.max(second.shift, 2 * (o?.shift ?? 0)),
    shape: Math.max(second.shape, 2 * (o?.shape ?? 0)),
  }));
}

function without(
  mean: Float64Array,
  covariance: Float64Array,
  m: Measured,
  weight: number,
): { mean: Float64Array; information: Float64Array } | null {
  const information = invertSymmetric(covariance, D);
  if (information === null) return null;
  const eta = times(information, mean);
  if (m.lambda !== null && weight > 0)
    for (let i = 0; i < D; i++) {
      eta[i] = eta[i]! - weight * m.eta![i]!;
      for (let k = 0; k < D; k++) information[i * D + k] = information[i * D + k]! - weight * m.lambda[i * D + k]!;
    }
  for (let i = 0; i < D; i++) {
    information[i * D + i] = information[i * D + i]! + 1e-6;
    eta[i] = eta[i]! + 1e-6 * mean[i]!;
  }
  const f = choleskyFactor(information, D);
  return f === null ? null : { mean: solveWithFactor(f, eta, D), information };
}
