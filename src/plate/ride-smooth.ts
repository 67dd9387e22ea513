/**
 * The whole track as one estimate: each frame's fit speaks with its own information, and a plane does not jump from frame to
 * frame. The unknowns are the four corners of every frame; their first and second differences in time are drawn towards none
 * as strongly as the well-seen frames of the same track bear out (a Rauch-Tung-Striebel smoother in its batch form:
 * H. Rauch, F. Tung & C. Striebel, *Maximum Likelihood Estimates of Linear Dynamic Systems*, AIAA J. 3, 1965). Where the set's
 * own motion explains the region's better than rest does, the corners are taken relative to the set. Fits that contradict all
 * the others are given less weight by their leave-one-out distance; well-seen frames are never overruled: there the motion is
 * let go instead. Hidden frames come out as what their neighbours and the set say, with the uncertainty that this leaves.
 */
import { factorBand, inverseInBand, solveBand } from '../geometry/banded.js';
import { homographyFromQuad } from '../geometry/homography.js';
import { choleskyFactor, invertSymmetric, solveWithFactor } from '../geometry/linear-solve.js';
import { apply, multiply, normalise, tryInvert, type Mat3, type Point2 } from '../geometry/mat3.js';
import { generatorExp } from './ride-generators.js';
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

export interface SmoothPoint {
  readonly homography: Mat3;
  /** sd of a corner's coordinate, px. */
  readonly sdPx: number;
  /** Weight that the frame's own fit was left, 0..1. */
  readonly weight: number;
  /** The same without this frame's own fit: what the others say, and its information over the generators there. */
  readonly others: { readonly homography: Mat3; readonly information: Float64Array; readonly sdPx: number };
}

const D = 8;
const BAND = 23;
/** Fits err by a little more than their grain says: codec, blur and a plane that is not quite plane. */
const INFLATION = 1.5 ** 2;
const FLOOR_PX = 0.03;
/** A tenth of the inflated variance: less is never believed. */
const LEAST_NOISE = 0.1;
/** Second differences of fits hold six times the noise of one; a third of that is what some tens of them tell. */
const TOLD = 2;
/** Px by which a region may have moved against the set over a gap, besides what it does elsewhere. */
const BRIDGED = 2;
/** Times the motion may be let go fourfold: from rest to anything. */
const LETS_GO = 8;

/** Orthonormal basis of corner displacements: the common shift in x and y, then six of shape. Rows over (x0, y0, ... y3). */
const MODES: readonly (readonly number[])[] = [
  [0.5, 0, 0.5, 0, 0.5, 0, 0.5, 0], [0, 0.5, 0, 0.5, 0, 0.5, 0, 0.5],
  [0.5, 0, -0.5, 0, -0.5, 0, 0.5, 0], [0, 0.5, 0, -0.5, 0, -0.5, 0, 0.5],
  [0.5, 0, 0.5, 0, -0.5, 0, -0.5, 0], [0, 0.5, 0, 0.5, 0, -0.5, 0, -0.5],
  [0.5, 0, -0.5, 0, 0.5, 0, -0.5, 0], [0, 0.5, 0, -0.5, 0, 0.5, 0, -0.5],
];

interface Measured {
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

/** Smooths a track whose points follow each other frame by frame; the anchor's own homography is the identity. */
export function smoothTrack(template: RideTemplate, points: readonly TrackPoint[], anchorFrame: number): SmoothPoint[] {
  const raw = rideMode(template, points, anchorFrame, false);
  const withSet = points.every((p) => p.set !== null) ? rideMode(template, points, anchorFrame, true) : null;
  const chosen = withSet !== null && withSet.roughness < 0.5 * raw.roughness && bridges(withSet) ? withSet : raw;
  const solved = solveWithin(template, points, chosen);
  const home = tryInvert(solved[points.findIndex((p) => p.frame === anchorFrame)]!.homography);
  return home === null ? solved : solved.map((p) => ({ ...p, homography: normalise(multiply(p.homography, home)) }));
}

interface Ride {
  readonly relative: boolean;
  readonly measured: readonly Measured[];
  /** Variance of the first and second differences a mode, shift and shape. */
  readonly first: { shift: number; shape: number };
  readonly second: { shift: number; shape: number };
  readonly roughness: number;
}

/**
 * Whether the set tells where the region is when nothing is seen of it: on either side of every gap the region must lie alike
 * against it. A set that was lost itself meanwhile would be believed over the fits.
 */
function bridges(ride: Ride): boolean {
  let before = -1;
  for (let t = 0; t < ride.measured.length; t++) {
    if (ride.measured[t]!.trust < 0.5) continue;
    if (before >= 0 && t - before > 1) {
      const a = ride.measured[before]!, b = ride.measured[t]!, jump = part([-1, 1], [a, b]), frames = t - before;
      if (jump.shift > BRIDGED ** 2 + 9 * frames * ride.first.shift || jump.shape > BRIDGED ** 2 + 9 * frames * ride.first.shape) return false;
    }
    before = t;
  }
  return true;
}

function rideMode(template: RideTemplate, points: readonly TrackPoint[], anchorFrame: number, relative: boolean): Ride {
  const measured = steadied(points.map((p) => measure(template, p, relative)));
  const home = points.findIndex((p) => p.frame === anchorFrame);
  if (measured[home]!.lambda === null) measured[home] = anchored(measured, home);
  const steps: { shift: number; shape: number }[] = [], bends: { shift: number; shape: number }[] = [];
  for (let t = 0; t + 1 < points.length; t++) {
    const a = measured[t]!, b = measured[t + 1]!, c = measured[t + 2];
    if (a.trust < 0.5 || b.trust < 0.5) continue;
    steps.push(part([-1, 1], [a, b]));
    if (c !== undefined && c.trust >= 0.5) bends.push(part([1, -2, 1], [a, b, c]));
  }
  const first = steps.length < 5 ? { shift: relative ? 4 : 400, shape: relative ? 0.2 : 4 } : spreadOf(steps, relative);
  const second = bends.length < 5 ? { shift: relative ? 4 : 50, shape: relative ? 0.2 : 2 } : atLeast(spreadOf(bends, relative), measured);
  return { relative, measured, first, second, roughness: Math.min(first.shift + 3 * first.shape, second.shift + 3 * second.shape) };
}

/** Less motion than a share of the noise cannot be told from none: it is not taken for none. */
function atLeast(spread: { shift: number; shape: number }, measured: readonly Measured[]): { shift: number; shape: number } {
  const sure = measured.filter((m) => m.own !== null && m.trust >= 0.5);
  const middle = (v: number[]): number => v.sort((a, b) => a - b)[v.length >> 1] ?? 0;
  const share = TOLD;
  return { shift: Math.max(spread.shift, share * middle(sure.map((m) => m.noise.shift))), shape: Math.max(spread.shape, share * middle(sure.map((m) => m.noise.shape))) };
}

/**
 * Fits whose shape varies less from frame to frame than their own noise would have it are surer than they say: motion can only
 * add to that variation. Their covariance is brought down to what is seen (the median of second differences over the sure
 * frames, in units of their noise), for otherwise noise that is not there would be smoothed away, and motion with it.
 */
function steadied(measured: readonly Measured[]): Measured[] {
  const ratios: number[] = [];
  for (let t = 0; t + 2 < measured.length; t++) {
    const of = [measured[t]!, measured[t + 1]!, measured[t + 2]!];
    if (of.some((m) => m.own === null || m.trust < 0.5)) continue;
    let r = 0;
    for (let m = 2; m < D; m++) {
      const bend = of[0]!.fit![m]! - 2 * of[1]!.fit![m]! + of[2]!.fit![m]!;
      r += bend * bend / (of[0]!.own![m * D + m]! + 4 * of[1]!.own![m * D + m]! + of[2]!.own![m * D + m]!) / 6;
    }
    ratios.push(r);
  }
  if (ratios.length < 8) return [...measured];
  const scale = Math.max(LEAST_NOISE, Math.min(1, ratios.sort((a, b) => a - b)[ratios.length >> 1]! / 0.89));
  return measured.map((m) => (m.own === null ? m : {
    ...m, own: m.own.map((v) => v * scale), lambda: m.lambda!.map((v) => v / scale), eta: m.eta!.map((v) => v / scale),
    noise: { shift: m.noise.shift * scale, shape: m.noise.shape * scale },
  }));
}

/** Mean square of a difference in shift and shape, its noise taken off. */
function part(weights: readonly number[], of: readonly Measured[]): { shift: number; shape: number } {
  let shift = 0, shape = 0, nShift = 0, nShape = 0;
  for (let m = 0; m < D; m++) {
    let v = 0;
    weights.forEach((w, i) => { v += w * of[i]!.z[m]!; });
    if (m < 2) shift += v * v / 2; else shape += v * v / 6;
  }
  weights.forEach((w, i) => { nShift += w * w * of[i]!.noise.shift; nShape += w * w * of[i]!.noise.shape; });
  return { shift: shift - nShift, shape: shape - nShape };
}

function spreadOf(v: readonly { shift: number; shape: number }[], relative: boolean): { shift: number; shape: number } {
  const floor = relative ? 0.015 ** 2 : 0.02 ** 2;
  const pick = (a: number[]): number => Math.max(floor, a.sort((p, q) => p - q)[Math.floor(0.75 * (a.length - 1))]!);
  return { shift: pick(v.map((q) => q.shift)), shape: pick(v.map((q) => q.shape)) };
}

/** A frame's corners in modes, with the information of its fit there. */
function measure(template: RideTemplate, p: TrackPoint, relative: boolean): Measured {
  const back = relative ? tryInvert(p.set!) : null;
  const place = (m: Mat3): Float64Array => modesOf(cornersUnder(template, m, back));
  const z = place(multiply(p.homography, template.toPixels));
  if (!p.found || p.information === null) return { z, lambda: null, eta: null, own: null, fit: null, trust: 0, noise: { shift: 0, shape: 0 } };
  const toGenerators = invertDense(jacobian(template, p.homography, back));
  if (toGenerators === null) return { z, lambda: null, eta: null, own: null, fit: null, trust: 0, noise: { shift: 0, shape: 0 } };
  const plain = congruent(p.information, toGenerators);
  for (let i = 0; i < D; i++) plain[i * D + i] = plain[i * D + i]! + 1e-5;
  const covariance = invertSymmetric(plain, D);
  if (covariance === null) return { z, lambda: null, eta: null, own: null, fit: null, trust: 0, noise: { shift: 0, shape: 0 } };
  for (let i = 0; i < D * D; i++) covariance[i] = covariance[i]! * INFLATION;
  for (let i = 0; i < D; i++) covariance[i * D + i] = covariance[i * D + i]! + FLOOR_PX ** 2;
  const lambda = invertSymmetric(covariance, D)!;
  const eta = times(lambda, z);
  if (p.pull !== null) for (let i = 0; i < D; i++) for (let k = 0; k < D; k++) eta[i] = eta[i]! + (toGenerators[k * D + i]! * p.pull[k]!) / INFLATION;
  return {
    z, lambda, eta, own: covariance, fit: times(covariance, eta), trust: p.trust,
    noise: { shift: (covariance[0]! + covariance[D + 1]!) / 2, shape: [2, 3, 4, 5, 6, 7].reduce((s, i) => s + covariance[i * D + i]! / 6, 0) },
  };
}

/**
 * The key frame's own grain shifts every fit to it by the same amount. So the key frame is a fit like the others, as sure as
 * its neighbours are; where they all say that it lies elsewhere, the track is afterwards laid so that it is at home.
 */
function anchored(measured: readonly Measured[], home: number): Measured {
  const z = measured[home]!.z, lambda = new Float64Array(D * D);
  let found = 0;
  for (let d = 1; d < measured.length && found < 5; d++) for (const m of [measured[home - d], measured[home + d]]) {
    if (m === undefined || m.lambda === null || m.trust < 0.7) continue;
    found++;
    for (let i = 0; i < D * D; i++) lambda[i] = lambda[i]! + m.lambda[i]!;
  }
  if (found === 0) for (let i = 0; i < D; i++) lambda[i * D + i] = 1e6;
  else for (let i = 0; i < D * D; i++) lambda[i] = lambda[i]! / found;
  return { z, lambda, eta: times(lambda, z), own: null, fit: null, trust: 1, noise: { shift: 0, shape: 0 } };
}

/**
 * The differences of a slow but large motion drown in the fits' noise one by one, and the spread read from them comes out too
 * small: the track is then drawn away from fits that are sure. So it is let go until it leaves them by no more than they may
 * err (the discrepancy principle: V. Morozov, *On the Solution of Functional Equations by the Method of Regularization*, 1966),
 * for place and for shape by itself.
 */
function solveWithin(template: RideTemplate, points: readonly TrackPoint[], ride: Ride): SmoothPoint[] {
  let now = ride, out = solve(template, points, now);
  for (let it = 0; it < LETS_GO; it++) {
    const gap = discrepancy(now, out.means);
    const shift = gap.shift > 1 ? 4 : 1, shape = gap.shape > 1 ? 4 : 1;
    if (shift * shape === 1) break;
    const grow = (v: { shift: number; shape: number }): { shift: number; shape: number } => ({ shift: v.shift * shift, shape: v.shape * shape });
    now = { ...now, first: grow(now.first), second: grow(now.second) };
    out = solve(template, points, now);
  }
  return out.points;
}

/** Median over the sure fits of the squared distance of the track from them, in units of what noise alone would leave. */
function discrepancy(ride: Ride, means: readonly Float64Array[]): { shift: number; shape: number } {
  const shift: number[] = [], shape: number[] = [];
  ride.measured.forEach((m, t) => {
    if (m.own === null || m.trust < 0.5 || means[t] === undefined) return;
    const z = times(m.own, m.eta!);
    let a = 0, b = 0;
    for (let i = 0; i < D; i++) {
      const d = (z[i]! - means[t]![i]!) ** 2 * INFLATION / m.own[i * D + i]!;
      if (i < 2) a += d / 2; else b += d / 6;
    }
    shift.push(a);
    shape.push(b);
  });
  const middle = (v: number[]): number => (v.length < 5 ? 0 : v.sort((p, q) => p - q)[v.length >> 1]!);
  return { shift: middle(shift), shape: middle(shape) };
}

function solve(template: RideTemplate, points: readonly TrackPoint[], ride: Ride): { points: SmoothPoint[]; means: Float64Array[] } {
  const n = points.length, { measured, relative } = ride;
  const weights = measured.map((m): number => (m.lambda === null ? 0 : 1));
  const bends = localBends(ride);
  let mean: Float64Array[] = [], covariance: Float64Array[] = [];
  for (let it = 0; it < 4; it++) {
    const a = new Float64Array(n * D * (BAND + 1)), b = new Float64Array(n * D);
    const put = (i: number, j: number, v: number): void => { if (j <= i) a[i * (BAND + 1) + BAND + j - i] = a[i * (BAND + 1) + BAND + j - i]! + v; };
    for (let t = 0; t < n; t++) {
      const m = measured[t]!;
      for (let r = 0; r < D; r++) put(t * D + r, t * D + r, 1e-7);
      if (m.lambda === null) { for (let r = 0; r < D; r++) b[t * D + r] = b[t * D + r]! + 1e-7 * m.z[r]!; continue; }
      for (let r = 0; r < D; r++) {
        b[t * D + r] = b[t * D + r]! + weights[t]! * m.eta![r]! + 1e-7 * m.z[r]!;
        for (let c = 0; c <= r; c++) put(t * D + r, t * D + c, weights[t]! * m.lambda[r * D + c]!);
      }
    }
    for (let t = 0; t + 1 < n; t++) for (let m = 0; m < D; m++) {
      const v = 1 / (4 * (m < 2 ? ride.first.shift : ride.first.shape));
      put(t * D + m, t * D + m, v); put((t + 1) * D + m, (t + 1) * D + m, v); put((t + 1) * D + m, t * D + m, -v);
      if (t + 2 >= n) continue;
      const q = 1 / (m < 2 ? bends[t + 1]!.shift : bends[t + 1]!.shape);
      const w = [1, -2, 1];
      for (let i = 0; i < 3; i++) for (let j = 0; j <= i; j++) put((t + i) * D + m, (t + j) * D + m, q * w[i]! * w[j]!);
    }
    const factor = factorBand(a, n * D, BAND);
    if (factor === null) break;
    const x = solveBand(factor, b), z = inverseInBand(factor);
    mean = points.map((_, t) => x.slice(t * D, (t + 1) * D));
    covariance = points.map((_, t) => {
      const s = new Float64Array(D * D);
      for (let r = 0; r < D; r++) for (let c = 0; c <= r; c++) { s[r * D + c] = z[(t * D + r) * (BAND + 1) + BAND + c - r]!; s[c * D + r] = s[r * D + c]!; }
      return s;
    });
    if (it === 3) break;
    for (let t = 0; t < n; t++) {
      const m = measured[t]!;
      if (m.lambda === null || m.trust > 0.95) continue;
      const o = without(mean[t]!, covariance[t]!, m, weights[t]!);
      if (o === null) continue;
      // Distance of the fit from what the others say, in both their uncertainties.
      const sum = invertSymmetric(o.information, D), own = invertSymmetric(m.lambda, D);
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
  const solved = points.map((p, t) => {
    if (mean.length === 0) return { homography: p.homography, sdPx: 20, weight: weights[t]!, others: { homography: p.homography, information: new Float64Array(D * D), sdPx: 20 } };
    const o = without(mean[t]!, covariance[t]!, measured[t]!, weights[t]!);
    const homography = homographyOf(template, mean[t]!, relative ? p.set! : null) ?? p.homography;
    const other = o === null ? homography : homographyOf(template, o.mean, relative ? p.set! : null) ?? homography;
    const j = jacobian(template, other, relative ? tryInvert(p.set!) : null);
    const information = o === null ? new Float64Array(D * D) : congruent(o.information, j);
    const grow = relative ? scaleOf(p.set!, template) : 1;
    const oc = o === null ? null : invertSymmetric(o.information, D);
    return {
      homography, sdPx: grow * Math.sqrt(trace(covariance[t]!) / D), weight: weights[t]!,
      others: { homography: other, information, sdPx: oc === null ? 20 : grow * Math.sqrt(trace(oc) / D) },
    };
  });
  return { points: solved, means: mean };
}

/** Second differences a frame: where well-seen frames show a sharper bend than the usual one, that bend is allowed. */
function localBends(ride: Ride): { shift: number; shape: number }[] {
  const { measured, second } = ride;
  const own = measured.map((b, t) => {
    const a = measured[t - 1], c = measured[t + 1];
    if (a === undefined || c === undefined || Math.min(a.trust, b.trust, c.trust) < 0.8) return null;
    const p = part([1, -2, 1], [a, b, c]);
    return { shift: p.shift - 3 * (a.noise.shift + b.noise.shift), shape: p.shape - 3 * (a.noise.shape + b.noise.shape) };
  });
  return own.map((o) => ({ shift: Math.max(second.shift, 2 * (o?.shift ?? 0)), shape: Math.max(second.shape, 2 * (o?.shape ?? 0)) }));
}

function without(mean: Float64Array, covariance: Float64Array, m: Measured, weight: number): { mean: Float64Array; information: Float64Array } | null {
  const information = invertSymmetric(covariance, D);
  if (information === null) return null;
  const eta = times(information, mean);
  if (m.lambda !== null && weight > 0) for (let i = 0; i < D; i++) {
    eta[i] = eta[i]! - weight * m.eta![i]!;
    for (let k = 0; k < D; k++) information[i * D + k] = information[i * D + k]! - weight * m.lambda[i * D + k]!;
  }
  for (let i = 0; i < D; i++) { information[i * D + i] = information[i * D + i]! + 1e-6; eta[i] = eta[i]! + 1e-6 * mean[i]!; }
  const f = choleskyFactor(information, D);
  return f === null ? null : { mean: solveWithFactor(f, eta, D), information };
}

function cornersUnder(template: RideTemplate, warp: Mat3, back: Mat3 | null): Point2[] {
  const m = back === null ? warp : multiply(back, warp);
  return template.corners.map(([u, v]) => apply(m, u, v));
}

function modesOf(corners: readonly Point2[]): Float64Array {
  return Float64Array.from(MODES, (row) => row.reduce((s, w, i) => s + w * corners[i >> 1]![i & 1]!, 0));
}

function homographyOf(template: RideTemplate, modes: Float64Array, set: Mat3 | null): Mat3 | null {
  const corners = [0, 1, 2, 3].map((k) => [0, 1].map((q) => MODES.reduce((s, row, m) => s + row[2 * k + q]! * modes[m]!, 0)) as unknown as Point2);
  const home = template.corners.map(([u, v]) => apply(template.toPixels, u, v));
  const h = homographyFromQuad(home as never, corners as never);
  return h === null ? null : normalise(set === null ? h : multiply(set, h));
}

/** 8 × 8: modes of the corners over the generators (right perturbation of the warp). */
function jacobian(template: RideTemplate, homography: Mat3, back: Mat3 | null): Float64Array {
  const warp = multiply(homography, template.toPixels);
  const out = new Float64Array(D * D), e = 1e-4;
  for (let k = 0; k < D; k++) {
    const d = new Float64Array(D);
    d[k] = e;
    const p = modesOf(cornersUnder(template, multiply(warp, generatorExp(d)), back));
    d[k] = -e;
    const q = modesOf(cornersUnder(template, multiply(warp, generatorExp(d)), back));
    for (let r = 0; r < D; r++) out[r * D + k] = (p[r]! - q[r]!) / (2 * e);
  }
  return out;
}

function scaleOf(m: Mat3, template: RideTemplate): number {
  const [x, y] = [template.toPixels[2], template.toPixels[5]];
  const o = apply(m, x, y), a = apply(m, x + 1, y), b = apply(m, x, y + 1);
  return Math.sqrt(Math.abs((a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0])));
}

/** Tᵀ A T. */
function congruent(a: Float64Array, t: Float64Array): Float64Array {
  const half = new Float64Array(D * D), out = new Float64Array(D * D);
  for (let r = 0; r < D; r++) for (let c = 0; c < D; c++) for (let k = 0; k < D; k++) half[r * D + c] = half[r * D + c]! + a[r * D + k]! * t[k * D + c]!;
  for (let r = 0; r < D; r++) for (let c = 0; c < D; c++) for (let k = 0; k < D; k++) out[r * D + c] = out[r * D + c]! + t[k * D + r]! * half[k * D + c]!;
  return out;
}

function invertDense(a: Float64Array): Float64Array | null {
  const n = D, m = Float64Array.from(a), out = new Float64Array(n * n);
  for (let i = 0; i < n; i++) out[i * n + i] = 1;
  for (let c = 0; c < n; c++) {
    let p = c;
    for (let r = c + 1; r < n; r++) if (Math.abs(m[r * n + c]!) > Math.abs(m[p * n + c]!)) p = r;
    const d = m[p * n + c]!;
    if (!(Math.abs(d) > 1e-12)) return null;
    for (let k = 0; k < n; k++) {
      const s = m[c * n + k]!; m[c * n + k] = m[p * n + k]! / d; if (p !== c) m[p * n + k] = s;
      const q = out[c * n + k]!; out[c * n + k] = out[p * n + k]! / d; if (p !== c) out[p * n + k] = q;
    }
    for (let r = 0; r < n; r++) {
      const f = m[r * n + c]!;
      if (r === c || f === 0) continue;
      for (let k = 0; k < n; k++) { m[r * n + k] = m[r * n + k]! - f * m[c * n + k]!; out[r * n + k] = out[r * n + k]! - f * out[c * n + k]!; }
    }
  }
  return out;
}

function times(a: Float64Array, x: Float64Array): Float64Array {
  const out = new Float64Array(D);
  for (let r = 0; r < D; r++) for (let c = 0; c < D; c++) out[r] = out[r]! + a[r * D + c]! * x[c]!;
  return out;
}

function trace(a: Float64Array): number {
  let s = 0;
  for (let i = 0; i < D; i++) s += a[i * D + i]!;
  return s;
}
