/**
 * What the fits of a track say as measurements of its corners, in the picture or against the set, with their noise; and
 * how much the region moves from frame to frame, as the well-seen frames bear out once that noise is taken off.
 */
import { invertSymmetric } from '../../geometry/linear-solve.js';
import { multiply, tryInvert, type Mat3 } from '../../geometry/mat3.js';
import { congruent, cornersUnder, D, invertDense, jacobian, modesOf, times } from './ride-modes.js';
import type { RideTemplate } from './ride-template.js';

export interface TrackPoint {
  readonly frame: number;
  /** Anchor pixels to this frame's: the fit, or a guess where there is none. */
  readonly homography: Mat3;
  readonly found: boolean;
  /** 8 × 8 over the generators in the anchor's template coordinates; null: nothing measured. */
  readonly information: Float64Array | null;
  /** What a prior added to the fit (prior information · distance from the prediction), taken out again here. */
  readonly pull: Float64Array | null;
  /** 0..1 how far this frame's fit is beyond doubt. */
  readonly trust: number;
  /** Anchor pixels to this frame's by the set's motion; null where not known. */
  readonly set: Mat3 | null;
}

/** Fits err by a little more than their grain says: codec, blur and a plane that is not quite plane. */
export const INFLATION = 1.5 ** 2;
const FLOOR_PX = 0.03;
/** A tenth of the inflated variance: less is never believed. */
const LEAST_NOISE = 0.1;
/** Second differences of fits hold six times the noise of one; a third of that is what some tens of them tell. */
const TOLD = 2;
/** Px by which a region may have moved against the set over a gap, besides what it does elsewhere. */
const BRIDGED = 2;

export interface Measured {
  readonly z: Float64Array;
  readonly lambda: Float64Array | null;
  readonly eta: Float64Array | null;
  /** Covariance of the fit, the inverse of `lambda`; null for the anchor and where nothing was measured. */
  readonly own: Float64Array | null;
  /** The fit with what its prior added taken out; null as `own`. */
  readonly fit: Float64Array | null;
  readonly trust: number;
  readonly noise: { shift: number; shape: number };
}

export interface Ride {
  readonly relative: boolean;
  readonly measured: readonly Measured[];
  /** Variance of the first and second differences a mode, shift and shape. */
  readonly first: { shift: number; shape: number };
  readonly second: { shift: number; shape: number };
  readonly roughness: number;
}

/**
 * The track as measured corners with their noise, and how much the region moves (`relative`: against the set, else in
 * the picture, px). The anchor frame, where nothing was fitted, is taken to be as sure as its neighbours.
 */
export function rideMode(
  template: RideTemplate,
  points: readonly TrackPoint[],
  anchorFrame: number,
  relative: boolean,
): Ride {
  const measured = steadied(points.map((p) => measuredCorners(template, p, relative)));
  const home = points.findIndex((p) => p.frame === anchorFrame);
  if (measured[home]!.lambda === null) measured[home] = anchored(measured, home);
  const steps: { shift: number; shape: number }[] = [];
  const bends: { shift: number; shape: number }[] = [];
  for (let t = 0; t + 1 < points.length; t++) {
    const a = measured[t]!;
    const b = measured[t + 1]!;
    const c = measured[t + 2];
    if (a.trust < 0.5 || b.trust < 0.5) continue;
    steps.push(meanSquares([-1, 1], [a, b]));
    if (c !== undefined && c.trust >= 0.5) bends.push(meanSquares([1, -2, 1], [a, b, c]));
  }
  const first = steps.length < 5 ? { shift: relative ? 4 : 400, shape: relative ? 0.2 : 4 } : spreadOf(steps, relative);
  const second =
    bends.length < 5
      ? { shift: relative ? 4 : 50, shape: relative ? 0.2 : 2 }
      : atLeast(spreadOf(bends, relative), measured);
  return {
    relative,
    measured,
    first,
    second,
    roughness: Math.min(first.shift + 3 * first.shape, second.shift + 3 * second.shape),
  };
}

/** Less motion than a share of the noise cannot be told from none: it is not taken for none. */
function atLeast(
  spread: { shift: number; shape: number },
  measured: readonly Measured[],
): { shift: number; shape: number } {
  const sure = measured.filter((m) => m.own !== null && m.trust >= 0.5);
  const middle = (v: number[]): number => v.sort((a, b) => a - b)[v.length >> 1] ?? 0;
  const share = TOLD;
  return {
    shift: Math.max(spread.shift, share * middle(sure.map((m) => m.noise.shift))),
    shape: Math.max(spread.shape, share * middle(sure.map((m) => m.noise.shape))),
  };
}

/**
 * Fits whose shape varies less from frame to frame than their own noise would have it are surer than they
 * say: motion can only add to that variation. Their covariance is brought down to what is seen (the median
 * of second differences over the sure frames, in units of their noise), for otherwise noise that is not
 * there would be smoothed away, and motion with it.
 */
export function steadied(measured: readonly Measured[]): Measured[] {
  const ratios: number[] = [];
  for (let t = 0; t + 2 < measured.length; t++) {
    const of = [measured[t]!, measured[t + 1]!, measured[t + 2]!];
    if (of.some((m) => m.own === null || m.trust < 0.5)) continue;
    let r = 0;
    for (let m = 2; m < D; m++) {
      const bend = of[0]!.fit![m]! - 2 * of[1]!.fit![m]! + of[2]!.fit![m]!;
      r += (bend * bend) / (of[0]!.own![m * D + m]! + 4 * of[1]!.own![m * D + m]! + of[2]!.own![m * D + m]!) / 6;
    }
    ratios.push(r);
  }
  if (ratios.length < 8) return [...measured];
  const scale = Math.max(LEAST_NOISE, Math.min(1, ratios.sort((a, b) => a - b)[ratios.length >> 1]! / 0.89));
  return measured.map((m) =>
    m.own === null
      ? m
      : {
          ...m,
          own: m.own.map((v) => v * scale),
          lambda: m.lambda!.map((v) => v / scale),
          eta: m.eta!.map((v) => v / scale),
          noise: { shift: m.noise.shift * scale, shape: m.noise.shape * scale },
        },
  );
}

/** Mean square of a difference in shift and shape, its noise taken off. */
export function meanSquares(weights: readonly number[], of: readonly Measured[]): { shift: number; shape: number } {
  let shift = 0;
  let shape = 0;
  let nShift = 0;
  let nShape = 0;
  for (let m = 0; m < D; m++) {
    let v = 0;
    weights.forEach((w, i) => {
      v += w * of[i]!.z[m]!;
    });
    if (m < 2) shift += (v * v) / 2;
    else shape += (v * v) / 6;
  }
  weights.forEach((w, i) => {
    nShift += w * w * of[i]!.noise.shift;
    nShape += w * w * of[i]!.noise.shape;
  });
  return { shift: shift - nShift, shape: shape - nShape };
}

/** Upper quartile of squared steps, never under what an exact track would show; of shift and of shape. */
export function spreadOf(
  v: readonly { shift: number; shape: number }[],
  relative: boolean,
): { shift: number; shape: number } {
  const floor = relative ? 0.015 ** 2 : 0.02 ** 2;
  const pick = (a: number[]): number => Math.max(floor, a.sort((p, q) => p - q)[Math.floor(0.75 * (a.length - 1))]!);
  return { shift: pick(v.map((q) => q.shift)), shape: pick(v.map((q) => q.shape)) };
}

/** A frame's corners in modes, with the information of its fit there. */
function measuredCorners(template: RideTemplate, p: TrackPoint, relative: boolean): Measured {
  const back = relative ? tryInvert(p.set!) : null;
  const place = (m: Mat3): Float64Array => modesOf(cornersUnder(template, m, back));
  const z = place(multiply(p.homography, template.toPixels));
  if (!p.found || p.information === null)
    return { z, lambda: null, eta: null, own: null, fit: null, trust: 0, noise: { shift: 0, shape: 0 } };
  const toGenerators = invertDense(jacobian(template, p.homography, back));
  if (toGenerators === null)
    return { z, lambda: null, eta: null, own: null, fit: null, trust: 0, noise: { shift: 0, shape: 0 } };
  const plain = congruent(p.information, toGenerators);
  for (let i = 0; i < D; i++) plain[i * D + i] = plain[i * D + i]! + 1e-5;
  const covariance = invertSymmetric(plain, D);
  if (covariance === null)
    return { z, lambda: null, eta: null, own: null, fit: null, trust: 0, noise: { shift: 0, shape: 0 } };
  for (let i = 0; i < D * D; i++) covariance[i] = covariance[i]! * INFLATION;
  for (let i = 0; i < D; i++) covariance[i * D + i] = covariance[i * D + i]! + FLOOR_PX ** 2;
  const lambda = invertSymmetric(covariance, D)!;
  const eta = times(lambda, z);
  if (p.pull !== null)
    for (let i = 0; i < D; i++)
      for (let k = 0; k < D; k++) eta[i] = eta[i]! + (toGenerators[k * D + i]! * p.pull[k]!) / INFLATION;
  return {
    z,
    lambda,
    eta,
    own: covariance,
    fit: times(covariance, eta),
    trust: p.trust,
    noise: {
      shift: (covariance[0]! + covariance[D + 1]!) / 2,
      shape: [2, 3, 4, 5, 6, 7].reduce((s, i) => s + covariance[i * D + i]! / 6, 0),
    },
  };
}

/**
 * The key frame's own grain shifts every fit to it by the same amount. So the key frame is a fit
 * like the others, as sure as its neighbours are; where they all say that it lies elsewhere, the
 * track is afterwards laid so that it is at home.
 */
export function anchored(measured: readonly Measured[], home: number): Measured {
  const z = measured[home]!.z;
  const lambda = new Float64Array(D * D);
  let found = 0;
  for (let d = 1; d < measured.length && found < 5; d++)
    for (const m of [measured[home - d], measured[home + d]]) {
      if (m === undefined || m.lambda === null || m.trust < 0.7) continue;
      found++;
      for (let i = 0; i < D * D; i++) lambda[i] = lambda[i]! + m.lambda[i]!;
    }
  if (found === 0) for (let i = 0; i < D; i++) lambda[i * D + i] = 1e6;
  else for (let i = 0; i < D * D; i++) lambda[i] = lambda[i]! / found;
  return { z, lambda, eta: times(lambda, z), own: null, fit: null, trust: 1, noise: { shift: 0, shape: 0 } };
}

/**
 * Whether the set tells where the region is when nothing is seen of it: on either side of every gap the region must lie
 * alike against it. A set that was lost itself meanwhile would be believed over the fits.
 */
export function bridges(ride: Ride): boolean {
  let before = -1;
  for (let t = 0; t < ride.measured.length; t++) {
    if (ride.measured[t]!.trust < 0.5) continue;
    if (before >= 0 && t - before > 1) {
      const a = ride.measured[before]!;
      const b = ride.measured[t]!;
      const jump = meanSquares([-1, 1], [a, b]);
      const frames = t - before;
      if (
        jump.shift > BRIDGED ** 2 + 9 * frames * ride.first.shift ||
        jump.shape > BRIDGED ** 2 + 9 * frames * ride.first.shape
      )
        return false;
    }
    before = t;
  }
  return true;
}
