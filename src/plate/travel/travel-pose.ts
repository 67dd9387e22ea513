/**
 * Where a camera stands from points whose places are known: the rotation and translation that leave least
 * between what it sees and what it should see (resection by Gauss-Newton with a redescending loss: Hartley &
 * Zisserman, *Multiple View Geometry*, 2004, sections 7.2 and A6.8; Tukey's biweight, Beaton & Tukey,
 * Technometrics 16, 1974), and the depth of a point seen from several known cameras (the other half of
 * resection-intersection, Triggs et al., 1999, section 6.3). Cameras: x right, y down, z forward; X seen at R X
 * + t. Pixels about the principal point where the name says `Centred`.
 */
import { choleskyFactor, invertSymmetric, solveWithFactor } from '../../geometry/linear-solve.js';
import { applyVector, multiply, type Mat3, type Vec3 } from '../../geometry/mat3.js';
import { rotationFromVector } from '../../geometry/rotation.js';

/** A rigid motion: x becomes r x + t; `t` in the scene's unit of length. */
export interface Pose {
  readonly r: Mat3;
  readonly t: Vec3;
}
/** No motion. */
export const AT_HOME: Pose = { r: [1, 0, 0, 0, 1, 0, 0, 0, 1], t: [0, 0, 0] };

/** First `a`, then `b`. */
export function chain(b: Pose, a: Pose): Pose {
  const m = applyVector(b.r, a.t);
  return { r: multiply(b.r, a.r), t: [m[0] + b.t[0], m[1] + b.t[1], m[2] + b.t[2]] };
}

/** The pose that undoes `p`. */
export function inversePose(p: Pose): Pose {
  const r: Mat3 = [p.r[0], p.r[3], p.r[6], p.r[1], p.r[4], p.r[7], p.r[2], p.r[5], p.r[8]];
  const m = applyVector(r, p.t);
  return { r, t: [-m[0], -m[1], -m[2]] };
}

/** A plane n · X = d of camera a, as the camera sees it that stands at `p` from a. */
export function movedPlane(n: Vec3, d: number, p: Pose): { n: Vec3; d: number } {
  const m = applyVector(p.r, n);
  return { n: m, d: d + m[0] * p.t[0] + m[1] * p.t[1] + m[2] * p.t[2] };
}

/**
 * Homography that a plane n · X = d induces between a camera and the one at `p` from it
 * (Hartley & Zisserman, equation 13.2), centred pixels.
 */
export function planeHomographyCentred(p: Pose, n: Vec3, d: number, focalPx: number): Mat3 {
  const m = p.r.map((v, i) => v + (p.t[Math.floor(i / 3)]! * n[i % 3]!) / d);
  const f = focalPx;
  return [m[0]!, m[1]!, m[2]! * f, m[3]!, m[4]!, m[5]! * f, m[6]! / f, m[7]! / f, m[8]!];
}

export interface PoseFit {
  readonly pose: Pose;
  /** Weight of every point, 0..1. */
  readonly weights: Float64Array;
  /** Robust sd of a coordinate, px. */
  readonly residualPx: number;
  /** Points that count (weight over a half). */
  readonly agreeing: number;
  /** Covariance of (rotation vector, translation), 6 × 6, or null where the points leave a direction free. */
  readonly covariance: Float64Array | null;
}

const LEAST_SCALE_PX = 0.06;

/** Points and where they are seen: `points` X, Y, Z of each in the camera at home, `seen` centred pixels of each. */
interface Sightings {
  readonly points: Float64Array;
  readonly seen: Float64Array;
  readonly focalPx: number;
  /** Of every point before the loss; undefined for 1. */
  readonly given: Float64Array | undefined;
}

/** Residuals of all points from a pose, px, and the length of each. */
function look({ points, seen, focalPx }: Sightings, pose: Pose, res: Float64Array, size: Float64Array): void {
  for (let i = 0; i < size.length; i++) {
    const [x, y, z] = applyVector(pose.r, [points[3 * i]!, points[3 * i + 1]!, points[3 * i + 2]!]);
    const depth = z + pose.t[2];
    if (depth > 1e-6) {
      res[2 * i] = (focalPx * (x + pose.t[0])) / depth - seen[2 * i]!;
      res[2 * i + 1] = (focalPx * (y + pose.t[1])) / depth - seen[2 * i + 1]!;
    } else {
      res[2 * i] = 1e3;
      res[2 * i + 1] = 1e3;
    }
    size[i] = Math.hypot(res[2 * i]!, res[2 * i + 1]!);
  }
}

/** Weights by Tukey's biweight, written into `weights`, and the weighed normal equations over (turn, shift). */
function normalEquations(
  { points, focalPx, given }: Sightings,
  pose: Pose,
  res: Float64Array,
  size: Float64Array,
  cut: number,
  weights: Float64Array,
): { readonly jtj: Float64Array; readonly g: Float64Array } {
  const jtj = new Float64Array(36);
  const g = new Float64Array(6);
  for (let i = 0; i < size.length; i++) {
    const q = size[i]! / cut;
    weights[i] = q >= 1 ? 0 : (1 - q * q) ** 2;
    const w = (q >= 1 ? 0 : (1 - q * q) ** 2) * (given === undefined ? 1 : given[i]!);
    if (w === 0) continue;
    const [x, y, z] = applyVector(pose.r, [points[3 * i]!, points[3 * i + 1]!, points[3 * i + 2]!]);
    const X = x + pose.t[0];
    const Y = y + pose.t[1];
    const Z = z + pose.t[2];
    const k = focalPx / Z;
    const u = X / Z;
    const v = Y / Z;
    // Turned by ω: ω × (R X).
    const ju = [k * (0 - u * y), k * (z + u * x), k * -y, k, 0, -k * u];
    const jv = [k * (-z - v * y), k * (v * x), k * x, 0, k, -k * v];
    for (let a = 0; a < 6; a++) {
      g[a] = g[a]! + w * (ju[a]! * res[2 * i]! + jv[a]! * res[2 * i + 1]!);
      for (let b = 0; b <= a; b++) jtj[6 * a + b] = jtj[6 * a + b]! + w * (ju[a]! * ju[b]! + jv[a]! * jv[b]!);
    }
  }
  for (let a = 0; a < 6; a++) {
    for (let b = 0; b < a; b++) jtj[6 * b + a] = jtj[6 * a + b]!;
    jtj[7 * a] = jtj[7 * a]! * (1 + 1e-9) + 1e-12;
  }
  return { jtj, g };
}

/**
 * The pose that leaves least between points and their sights.
 * @param points X, Y, Z of each in the camera at home
 * @param seen centred pixels of each
 * @param given weight of each point before the loss, or undefined for 1
 */
export function fitPose(
  points: Float64Array,
  seen: Float64Array,
  focalPx: number,
  start: Pose,
  given?: Float64Array,
): PoseFit {
  const n = seen.length / 2;
  const sightings: Sightings = { points, seen, focalPx, given };
  const res = new Float64Array(2 * n);
  const size = new Float64Array(n);
  const weights = new Float64Array(n).fill(1);
  let pose = start;
  let scale = 1;
  let jtj: Float64Array = new Float64Array(36);
  // The loss narrows from what the middle half leaves over, so that a poor start does not throw all points out.
  for (let round = 0; round < 15; round++) {
    look(sightings, pose, res, size);
    const sorted = Float64Array.from(size).sort();
    scale = Math.max(LEAST_SCALE_PX, sorted[n >> 1]! / 1.1774);
    const equations = normalEquations(sightings, pose, res, size, scale * (round < 3 ? 6 : 4.2), weights);
    jtj = equations.jtj;
    const l = choleskyFactor(jtj, 6);
    if (l === null) break;
    const s = solveWithFactor(l, equations.g, 6);
    pose = {
      r: multiply(rotationFromVector([-s[0]!, -s[1]!, -s[2]!]), pose.r),
      t: [pose.t[0] - s[3]!, pose.t[1] - s[4]!, pose.t[2] - s[5]!],
    };
    if (round > 4 && Math.hypot(s[0]!, s[1]!, s[2]!) * focalPx < 1e-4 && Math.hypot(s[3]!, s[4]!, s[5]!) < 1e-6) break;
  }
  let agreeing = 0;
  for (let i = 0; i < n; i++) if (weights[i]! > 0.5) agreeing++;
  const covariance = invertSymmetric(jtj, 6);
  return {
    pose,
    weights,
    residualPx: scale,
    agreeing,
    covariance: covariance === null ? null : covariance.map((v) => v * scale * scale),
  };
}

/** One sight of a point: the camera's pose from home, and where it shows, centred pixels. */
export interface Sight {
  readonly pose: Pose;
  readonly x: number;
  readonly y: number;
}

/**
 * Inverse depth of a point of the camera at home from its sights; null where fewer than
 * `least` sights agree within 1.2 px.
 * @param x centred pixel at home
 */
export function inverseDepth(
  x: number,
  y: number,
  focalPx: number,
  sights: readonly Sight[],
  starts: readonly number[],
  least: number,
): { rho: number; rmsPx: number; information: number } | null {
  let best: { rho: number; rmsPx: number; information: number } | null = null;
  let cheapest = Infinity;
  const a = x / focalPx;
  const b = y / focalPx;
  for (const start of starts) {
    let rho = start;
    let cost = Infinity;
    let info = 0;
    let agree = 0;
    let sum = 0;
    for (let k = 0; k < 8; k++) {
      let h = 0;
      let g = 0;
      cost = 0;
      info = 0;
      agree = 0;
      sum = 0;
      for (const s of sights) {
        const [p, q, w] = applyVector(s.pose.r, [a, b, 1]);
        const X = p + s.pose.t[0] * rho;
        const Y = q + s.pose.t[1] * rho;
        const Z = w + s.pose.t[2] * rho;
        if (!(Z > 1e-6)) {
          cost += 9;
          continue;
        }
        const ru = (focalPx * X) / Z - s.x;
        const rv = (focalPx * Y) / Z - s.y;
        const m = Math.hypot(ru, rv);
        const du = (focalPx * (s.pose.t[0] - (X / Z) * s.pose.t[2])) / Z;
        const dv = (focalPx * (s.pose.t[1] - (Y / Z) * s.pose.t[2])) / Z;
        const l = m < 3 ? (1 - (m / 3) ** 2) ** 2 : 0;
        cost += m < 3 ? 3 * (1 - (1 - (m / 3) ** 2) ** 3) : 3;
        h += l * (du * du + dv * dv);
        g += l * (du * ru + dv * rv);
        if (m < 1.2) {
          agree++;
          sum += m * m;
          info += du * du + dv * dv;
        }
      }
      if (!(h > 1e-12)) break;
      const step = g / h;
      rho -= step;
      if (Math.abs(step) < 1e-7) break;
    }
    // No point lies behind the camera; a little less than nothing is far away.
    if (agree < least || rho < -0.02) continue;
    if (cost < cheapest) {
      cheapest = cost;
      best = { rho: Math.max(0, rho), rmsPx: Math.sqrt(sum / (2 * agree)), information: info };
    }
  }
  return best;
}
