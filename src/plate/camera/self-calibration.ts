/**
 * Focal length of a camera that only turns, from matched points: for a focal length f (and first radial distortion
 * k1) the points of two frames become rays, the rotation that joins them is Kabsch's in closed form, and what is
 * left over in pixels is minimised over (ln f, k1) by Levenberg-Marquardt after a search over f (Hartley,
 * *Self-Calibration from Multiple Views with a Rotating Camera*, ECCV 1994, for the principle; variable
 * projection, Golub & Pereyra 1973, for the elimination). Uncertainty by deleting groups of points (jackknife,
 * Efron 1982), which also sees errors shared by all frames.
 *
 * Distortion model: x_undistorted = x (1 + k1 r²), with x in units of the focal length from the picture's middle.
 */
import { levenbergMarquardt } from '../../geometry/levenberg-marquardt.js';
import { applyVector, type Mat3, type Vec3 } from '../../geometry/mat3.js';
import { rotationAngle, rotationFromMoment } from '../../geometry/rotation.js';

/** Matched points of one frame against its key. */
export interface RayPair {
  readonly patch: Int32Array;
  /** x, y of each point in the key and in the frame, px. */
  readonly from: Float64Array;
  readonly to: Float64Array;
  readonly weight: Float64Array;
}

export interface Calibration {
  readonly focalPx: number;
  readonly focalSd: number;
  /** Distortion, in units of the focal length (see above), and its standard deviation. */
  readonly k1: number;
  readonly k1Sd: number;
  /** rms of what the turning camera leaves unexplained, px a coordinate. */
  readonly residualPx: number;
  /** Rotation key → frame of every pair. */
  readonly rotations: readonly Mat3[];
}

/** Rotation of one pair (key rays to frame rays) for a lens. */
export function pairRotation(pair: RayPair, lens: Lens): Mat3 {
  return fitPair(pair, lens, null, 0, null);
}

export interface Lens {
  readonly focalPx: number;
  /** Distortion, in units of the focal length; and the picture's middle, px. */
  readonly k1: number;
  readonly cx: number;
  readonly cy: number;
}

function ray(x: number, y: number, lens: Lens): Vec3 {
  const u = (x - lens.cx) / lens.focalPx;
  const v = (y - lens.cy) / lens.focalPx;
  const s = 1 + lens.k1 * (u * u + v * v);
  return [u * s, v * s, 1];
}

/**
 * Fits the rotation; where `out` is given writes weighted residuals (px) from `at`.
 * `skip` leaves out patches of one group.
 */
function fitPair(pair: RayPair, lens: Lens, out: Float64Array | null, at: number, skip: number | null): Mat3 {
  const n = pair.patch.length;
  const m = [0, 0, 0, 0, 0, 0, 0, 0, 0];
  for (let i = 0; i < n; i++) {
    if (skip !== null && pair.patch[i]! % GROUPS === skip) continue;
    const a = ray(pair.from[2 * i]!, pair.from[2 * i + 1]!, lens);
    const b = ray(pair.to[2 * i]!, pair.to[2 * i + 1]!, lens);
    const w = pair.weight[i]! / Math.sqrt((1 + a[0] * a[0] + a[1] * a[1]) * (1 + b[0] * b[0] + b[1] * b[1]));
    for (let r = 0; r < 3; r++) for (let c = 0; c < 3; c++) m[r * 3 + c] = m[r * 3 + c]! + w * b[r]! * a[c]!;
  }
  const rotation = rotationFromMoment(m as unknown as Mat3);
  if (out !== null) {
    for (let i = 0; i < n; i++) {
      if (skip !== null && pair.patch[i]! % GROUPS === skip) {
        out[at + 2 * i] = 0;
        out[at + 2 * i + 1] = 0;
        continue;
      }
      const v = applyVector(rotation, ray(pair.from[2 * i]!, pair.from[2 * i + 1]!, lens));
      const b = ray(pair.to[2 * i]!, pair.to[2 * i + 1]!, lens);
      const w = Math.sqrt(pair.weight[i]!) * lens.focalPx;
      out[at + 2 * i] = w * (v[0] / v[2] - b[0]);
      out[at + 2 * i + 1] = w * (v[1] / v[2] - b[1]);
    }
  }
  return rotation;
}

const GROUPS = 7;

/**
 * Calibrates from pairs. Null where no minimum inside 0.3 to 12 picture widths exists.
 * @param withDistortion solves k1 too; only where the rays cover enough of the picture.
 */
export function calibrateTurning(
  pairs: readonly RayPair[],
  widthPx: number,
  heightPx: number,
  withDistortion: boolean,
): Calibration | null {
  const cx = widthPx / 2;
  const cy = heightPx / 2;
  let count = 0;
  for (const p of pairs) count += 2 * p.patch.length;
  if (count < 60) return null;
  const solve = (start: readonly number[], skip: number | null): ReturnType<typeof levenbergMarquardt> =>
    levenbergMarquardt({
      start,
      residualCount: count,
      blockSize: 2,
      loss: { kind: 'cauchy', scale: 0.5 },
      maxIterations: 25,
      steps: [1e-4, 1e-4],
      residuals: (p, out) => {
        const lens = { focalPx: Math.exp(p[0]!), k1: p[1] ?? 0, cx, cy };
        let at = 0;
        for (const pair of pairs) {
          fitPair(pair, lens, out, at, skip);
          at += 2 * pair.patch.length;
        }
      },
    });
  // Search: the cost over f is smooth but flat far out.
  const out = new Float64Array(count);
  let best = Infinity;
  let bestF = 0;
  let edge = false;
  const steps = 36;
  for (let i = 0; i <= steps; i++) {
    const focalPx = widthPx * 0.3 * 40 ** (i / steps);
    let at = 0;
    for (const pair of pairs) {
      fitPair(pair, { focalPx, k1: 0, cx, cy }, out, at, null);
      at += 2 * pair.patch.length;
    }
    let s = 0;
    for (let k = 0; k < count; k += 2) s += Math.log1p((out[k]! ** 2 + out[k + 1]! ** 2) / 0.25);
    if (s < best) {
      best = s;
      bestF = focalPx;
      edge = i === 0 || i === steps;
    }
  }
  if (edge) return null;
  const start = [Math.log(bestF), ...(withDistortion ? [0] : [])];
  const fit = solve(start, null);
  const lnF = fit.parameters[0]!;
  const k1 = fit.parameters[1] ?? 0;
  if (!(Math.exp(lnF) > 0.25 * widthPx && Math.exp(lnF) < 15 * widthPx)) return null;
  let vF = 0;
  let vK = 0;
  for (let g = 0; g < GROUPS; g++) {
    const part = solve([...fit.parameters], g);
    vF += (part.parameters[0]! - lnF) ** 2;
    vK += ((part.parameters[1] ?? 0) - k1) ** 2;
  }
  const scale = (GROUPS - 1) / GROUPS;
  const formal = fit.covariance === null ? 1 : fit.covariance[0]! * fit.variance;
  const sdLn = Math.sqrt(scale * vF + 4 * formal + 0.0006 ** 2);
  const lens = { focalPx: Math.exp(lnF), k1, cx, cy };
  return {
    focalPx: lens.focalPx,
    focalSd: lens.focalPx * sdLn,
    k1,
    k1Sd: Math.sqrt(scale * vK),
    residualPx: Math.sqrt(fit.variance),
    rotations: pairs.map((p) => fitPair(p, lens, null, 0, null)),
  };
}

/** Angle of a rotation in degrees. */
export function turnedDeg(r: Mat3): number {
  return (rotationAngle(r) * 180) / Math.PI;
}
