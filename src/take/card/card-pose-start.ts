/**
 * A first pose of the camera over the card from corners alone: the plane's homography and its two constraints (Zhang,
 * PAMI 2000), then least squares on the points with a weak prior on the lens.
 */
import { DEG_PER_RAD } from '../../core/angles.js';
import { groundCamera, groundToImage } from '../../geometry/camera.js';
import { homographyFromPoints } from '../../geometry/homography.js';
import { levenbergMarquardt } from '../../geometry/levenberg-marquardt.js';
import { apply, multiply, type Mat3, type Point2 } from '../../geometry/mat3.js';

/** Usual lenses: horizontal angle of view about 65°, log-normal. A weak prior, shown as such. */
export const PRIOR_FOCAL_WIDTHS = 0.8;
/** Its standard deviation, of the focal length's natural logarithm. */
export const PRIOR_LN_SD = 0.45;

/** The same from parameters [ln f, tilt, roll, ln height, x, z, turn] (radians, metres). */
export function homographyOf(p: ArrayLike<number>, widthPx: number, heightPx: number): Mat3 {
  const camera = groundCamera({
    focalPx: Math.exp(p[0]!),
    tiltDeg: p[1]! * DEG_PER_RAD,
    rollDeg: p[2]! * DEG_PER_RAD,
    cameraHeight: Math.exp(p[3]!),
    widthPx,
    heightPx,
  });
  const c = Math.cos(p[6]!) / 1000;
  const s = Math.sin(p[6]!) / 1000;
  return multiply(groundToImage(camera), [c, s, p[4]!, s, -c, p[5]!, 0, 0, 1]);
}

/** Pose parameters from points of the card and where they are seen; the best of several focal lengths. */
export function startPose(
  points: readonly Point2[],
  seen: readonly Point2[],
  widthPx: number,
  heightPx: number,
  focalPx?: number,
): number[] | null {
  const h = homographyFromPoints(
    points.map((c) => [c[0] / 1000, c[1] / 1000] as const),
    seen.map((q) => [q[0] - widthPx / 2, q[1] - heightPx / 2] as const),
  );
  if (h === null) return null;
  const [h1, h2, h3] = [
    [h[0], h[3], h[6]],
    [h[1], h[4], h[7]],
    [h[2], h[5], h[8]],
  ] as [number[], number[], number[]];
  // With K = diag(f, f, 1): h1ᵀ K⁻ᵀK⁻¹ h2 = 0 and equal lengths.
  const candidates: number[] = [];
  const d1 = h1[2]! * h2[2]!;
  const n1 = -(h1[0]! * h2[0]! + h1[1]! * h2[1]!);
  if (n1 / d1 > 0) candidates.push(Math.sqrt(n1 / d1));
  const d2 = h1[2]! ** 2 - h2[2]! ** 2;
  const n2 = h2[0]! ** 2 + h2[1]! ** 2 - h1[0]! ** 2 - h1[1]! ** 2;
  if (n2 / d2 > 0) candidates.push(Math.sqrt(n2 / d2));
  const starts =
    focalPx !== undefined
      ? [focalPx]
      : [
          ...candidates.filter((f) => f > widthPx * 0.25 && f < widthPx * 8),
          widthPx * PRIOR_FOCAL_WIDTHS,
          widthPx * 1.5,
        ];
  let best: number[] | null = null;
  let bestCost = Infinity;
  for (const f of starts) {
    const start = decompose(h1, h2, h3, f);
    if (start === null) continue;
    const solved = solveOnPoints(start, points, seen, widthPx, heightPx, focalPx !== undefined);
    if (solved.cost < bestCost) {
      best = solved.parameters;
      bestCost = solved.cost;
    }
  }
  return best;
}

/** Parameters [ln f, tilt, roll, ln height, x, z, turn] (radians, metres) from a homography and a focal length. */
function decompose(h1: number[], h2: number[], h3: number[], f: number): number[] | null {
  const k = (v: number[]): number[] => [v[0]! / f, v[1]! / f, v[2]!];
  const a = k(h1);
  const b = k(h2);
  const t0 = k(h3);
  const length = (Math.hypot(...a) + Math.hypot(...b)) / 2;
  if (!(length > 0)) return null;
  const sign = t0[2]! < 0 ? -1 : 1;
  const r1 = a.map((v) => (sign * v) / length);
  const r2raw = b.map((v) => (sign * v) / length);
  const t = t0.map((v) => (sign * v) / length);
  const n1 = Math.hypot(...r1);
  const u = r1.map((v) => v / n1);
  const dot = u[0]! * r2raw[0]! + u[1]! * r2raw[1]! + u[2]! * r2raw[2]!;
  const w = r2raw.map((v, i) => v - dot * u[i]!);
  const nw = Math.hypot(...w);
  if (!(nw > 1e-6)) return null;
  const v = w.map((x) => x / nw);
  const into = [u[1]! * v[2]! - u[2]! * v[1]!, u[2]! * v[0]! - u[0]! * v[2]!, u[0]! * v[1]! - u[1]! * v[0]!];
  const up = into.map((x) => -x);
  const c = [
    -(u[0]! * t[0]! + u[1]! * t[1]! + u[2]! * t[2]!),
    -(v[0]! * t[0]! + v[1]! * t[1]! + v[2]! * t[2]!),
    -(into[0]! * t[0]! + into[1]! * t[1]! + into[2]! * t[2]!),
  ];
  const height = -c[2]!;
  if (!(height > 0.01)) return null;
  const tilt = Math.asin(Math.max(-1, Math.min(1, up[2]!)));
  const roll = Math.atan2(up[0]!, -up[1]!);
  const forward = [u[2]!, v[2]!];
  const nf = Math.hypot(...forward);
  if (nf < 1e-6) return null;
  const [fu, fv] = [forward[0]! / nf, forward[1]! / nf];
  // Map axes in card coordinates: away = forward, right = forward turned clockwise on the page (y runs down).
  const right = [-fv, fu];
  const x = -(c[0]! * right[0]! + c[1]! * right[1]!);
  const z = -(c[0]! * fu + c[1]! * fv);
  return [Math.log(f), tilt, roll, Math.log(height), x, z, Math.atan2(fu, right[0]!)];
}

function solveOnPoints(
  start: number[],
  points: readonly Point2[],
  seen: readonly Point2[],
  widthPx: number,
  heightPx: number,
  fixedFocal: boolean,
): { parameters: number[]; cost: number } {
  const noise = 0.25;
  const lnPrior = Math.log(widthPx * PRIOR_FOCAL_WIDTHS);
  const at = (p: ArrayLike<number>): number[] => (fixedFocal ? [start[0]!, ...Array.from(p)] : Array.from(p));
  const residuals = (p: Float64Array, out: Float64Array): void => {
    const q = at(p);
    const h = homographyOf(q, widthPx, heightPx);
    points.forEach((c, i) => {
      const w = h[6] * c[0] + h[7] * c[1] + h[8];
      const s = w > 1e-9 ? apply(h, c[0], c[1]) : null;
      out[2 * i] = s === null ? 1e3 : (s[0] - seen[i]![0]) / noise;
      out[2 * i + 1] = s === null ? 1e3 : (s[1] - seen[i]![1]) / noise;
    });
    if (!fixedFocal) out[2 * points.length] = (q[0]! - lnPrior) / PRIOR_LN_SD;
  };
  const solved = levenbergMarquardt({
    start: fixedFocal ? start.slice(1) : start,
    residualCount: 2 * points.length + (fixedFocal ? 0 : 1),
    residuals,
    maxIterations: 60,
  });
  return { parameters: at(solved.parameters), cost: solved.cost };
}
