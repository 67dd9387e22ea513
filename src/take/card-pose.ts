/**
 * The camera from the floor card: focal length, tilt, roll, height over the floor, and where the card lies, by least squares on
 * the fiducials' corners. Start from the homography of the plane (Zhang, "A Flexible New Technique for Camera Calibration",
 * PAMI 2000: the two constraints of one view give the focal length where the plane is seen aslant), refined over seven
 * parameters with a weak prior on the lens that decides only where the view is too square-on to tell.
 */
import { markerCorners } from '../brief/card-layout.js';
import { DEG_PER_RAD, RAD_PER_DEG } from '../core/angles.js';
import { groundCamera, project } from '../geometry/camera.js';
import { homographyFromPoints } from '../geometry/homography.js';
import { levenbergMarquardt } from '../geometry/levenberg-marquardt.js';
import type { FoundMarker } from './card-detect.js';
import { findEdges, type EdgePoint } from './card-edges.js';

export interface CardPose {
  readonly focalPx: number;
  readonly tiltDeg: number;
  readonly rollDeg: number;
  readonly cameraHeight: number;
  /** Card's middle on the floor, metres: x to camera right, z away from the point below the lens; its turn in the map view. */
  readonly card: { readonly x: number; readonly z: number; readonly turnDeg: number };
  readonly sd: { readonly focalPx: number; readonly tiltDeg: number; readonly rollDeg: number; readonly cameraHeight: number };
  readonly residualPx: number;
  readonly markers: number;
  /** True where the usual lens decides more than the picture. */
  readonly priorLed: boolean;
}

/** Usual lenses: horizontal angle of view about 65°, log-normal. A weak prior, shown as such. */
const PRIOR_FOCAL_WIDTHS = 0.8;
const PRIOR_LN_SD = 0.45;

/** World (x, z) in metres of a card point (mm) under a pose. */
export function cardToGround(p: { x: number; z: number; turnDeg: number }, xMm: number, yMm: number): [number, number] {
  const c = Math.cos(p.turnDeg * RAD_PER_DEG), s = Math.sin(p.turnDeg * RAD_PER_DEG);
  const u = xMm / 1000, v = yMm / 1000;
  return [p.x + u * c + v * s, p.z + u * s - v * c];
}

/** Solves the pose from found fiducials. Null for fewer than two. `focalPx` fixes the focal length where it is known. */
export function solveCardPose(markers: readonly FoundMarker[], widthPx: number, heightPx: number, focalPx?: number): CardPose | null {
  if (markers.length < 2) return null;
  const from: [number, number][] = [], to: [number, number][] = [];
  for (const m of markers) markerCorners(m.id).forEach((c, k) => { from.push([c[0] / 1000, c[1] / 1000]); to.push([m.corners[k]![0] - widthPx / 2, m.corners[k]![1] - heightPx / 2]); });
  const h = homographyFromPoints(from, to);
  if (h === null) return null;
  const [h1, h2, h3] = [[h[0], h[3], h[6]], [h[1], h[4], h[7]], [h[2], h[5], h[8]]] as [number[], number[], number[]];
  // With K = diag(f, f, 1): h1ᵀ K⁻ᵀK⁻¹ h2 = 0 and equal lengths.
  const candidates: number[] = [];
  const d1 = h1[2]! * h2[2]!, n1 = -(h1[0]! * h2[0]! + h1[1]! * h2[1]!);
  if (n1 / d1 > 0) candidates.push(Math.sqrt(n1 / d1));
  const d2 = h1[2]! ** 2 - h2[2]! ** 2, n2 = h2[0]! ** 2 + h2[1]! ** 2 - h1[0]! ** 2 - h1[1]! ** 2;
  if (n2 / d2 > 0) candidates.push(Math.sqrt(n2 / d2));
  const starts = focalPx !== undefined ? [focalPx] : [...candidates.filter((f) => f > widthPx * 0.25 && f < widthPx * 8), widthPx * PRIOR_FOCAL_WIDTHS, widthPx * 1.5];
  let best: CardPose | null = null, bestCost = Infinity;
  for (const f of starts) {
    const start = decompose(h1, h2, h3, f);
    if (start === null) continue;
    const solved = refine(start, { corners: markers, markers: markers.length }, widthPx, heightPx, focalPx !== undefined);
    if (solved !== null && solved.cost < bestCost) { best = solved.pose; bestCost = solved.cost; }
  }
  return best;
}

/** Refines a pose on the printed borders, found to a few hundredths of a pixel in linear light; three rounds of find and solve. */
export function refineOnEdges(pose: CardPose, ids: readonly number[], luma: Float32Array, widthPx: number, heightPx: number, fixedFocal: boolean): CardPose {
  let current = pose;
  for (let round = 0; round < 3; round++) {
    const camera = groundCamera({ focalPx: current.focalPx, tiltDeg: current.tiltDeg, rollDeg: current.rollDeg, cameraHeight: current.cameraHeight, widthPx, heightPx });
    const card = current.card;
    const edges = findEdges(luma, widthPx, heightPx, ids, (x, y) => { const g = cardToGround(card, x, y); const q = project(camera, [g[0], 0, g[1]]); return q === null ? null : [q.x, q.y]; });
    if (edges.length < 24) return current;
    const start = [Math.log(current.focalPx), current.tiltDeg * RAD_PER_DEG, current.rollDeg * RAD_PER_DEG, Math.log(current.cameraHeight), current.card.x, current.card.z, current.card.turnDeg * RAD_PER_DEG];
    const solved = refine(start, { edges, markers: ids.length }, widthPx, heightPx, fixedFocal);
    if (solved === null) return current;
    current = solved.pose;
  }
  return current;
}

/** Parameters [ln f, tilt, roll, ln height, x, z, turn] (radians, metres) from a homography and a focal length. */
function decompose(h1: number[], h2: number[], h3: number[], f: number): number[] | null {
  const k = (v: number[]): number[] => [v[0]! / f, v[1]! / f, v[2]!];
  const a = k(h1), b = k(h2), t0 = k(h3);
  const length = (Math.hypot(...a) + Math.hypot(...b)) / 2;
  if (!(length > 0)) return null;
  const sign = t0[2]! < 0 ? -1 : 1;
  const r1 = a.map((v) => (sign * v) / length), r2raw = b.map((v) => (sign * v) / length), t = t0.map((v) => (sign * v) / length);
  const n1 = Math.hypot(...r1);
  const u = r1.map((v) => v / n1);
  const dot = u[0]! * r2raw[0]! + u[1]! * r2raw[1]! + u[2]! * r2raw[2]!;
  const w = r2raw.map((v, i) => v - dot * u[i]!);
  const nw = Math.hypot(...w);
  if (!(nw > 1e-6)) return null;
  const v = w.map((x) => x / nw);
  const into = [u[1]! * v[2]! - u[2]! * v[1]!, u[2]! * v[0]! - u[0]! * v[2]!, u[0]! * v[1]! - u[1]! * v[0]!];
  const up = into.map((x) => -x);
  const c = [-(u[0]! * t[0]! + u[1]! * t[1]! + u[2]! * t[2]!), -(v[0]! * t[0]! + v[1]! * t[1]! + v[2]! * t[2]!), -(into[0]! * t[0]! + into[1]! * t[1]! + into[2]! * t[2]!)];
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
  const x = -(c[0]! * right[0]! + c[1]! * right[1]!), z = -(c[0]! * fu + c[1]! * fv);
  return [Math.log(f), tilt, roll, Math.log(height), x, z, Math.atan2(fu, right[0]!)];
}

type Observed = { readonly markers: number } & ({ readonly corners: readonly FoundMarker[] } | { readonly edges: readonly EdgePoint[] });

function refine(start: number[], observed: Observed, widthPx: number, heightPx: number, fixedFocal: boolean): { pose: CardPose; cost: number } | null {
  const noise = 'corners' in observed ? 0.25 : 0.1;
  const own = 'corners' in observed ? observed.corners.length * 8 : observed.edges.length;
  const n = own + (fixedFocal ? 0 : 1);
  const lnPrior = Math.log(widthPx * PRIOR_FOCAL_WIDTHS);
  const at = (p: ArrayLike<number>): number[] => (fixedFocal ? [start[0]!, ...Array.from(p)] : Array.from(p));
  const residuals = (p: Float64Array, out: Float64Array): void => {
    const [lf, tilt, roll, lh, x, z, turn] = at(p) as [number, number, number, number, number, number, number];
    const camera = groundCamera({ focalPx: Math.exp(lf), tiltDeg: tilt * DEG_PER_RAD, rollDeg: roll * DEG_PER_RAD, cameraHeight: Math.exp(lh), widthPx, heightPx });
    const see = (xMm: number, yMm: number): { x: number; y: number } | null => {
      const g = cardToGround({ x, z, turnDeg: turn * DEG_PER_RAD }, xMm, yMm);
      return project(camera, [g[0], 0, g[1]]);
    };
    let i = 0;
    if ('corners' in observed) {
      for (const m of observed.corners) markerCorners(m.id).forEach((c, k) => {
        const q = see(c[0], c[1]);
        out[i++] = q === null ? 1e3 : (q.x - m.corners[k]![0]) / noise;
        out[i++] = q === null ? 1e3 : (q.y - m.corners[k]![1]) / noise;
      });
    } else {
      for (const e of observed.edges) {
        const q = see(e.xMm, e.yMm);
        out[i++] = q === null ? 1e3 : ((q.x - e.x) * e.nx + (q.y - e.y) * e.ny) / noise;
      }
    }
    if (!fixedFocal) out[i] = (lf - lnPrior) / PRIOR_LN_SD;
  };
  const solved = levenbergMarquardt({ start: fixedFocal ? start.slice(1) : start, residualCount: n, residuals, loss: { kind: 'huber', scale: 4 }, maxIterations: 60 });
  const [lf, tilt, roll, lh, x, z, turn] = at(solved.parameters) as [number, number, number, number, number, number, number];
  if (solved.covariance === null) return null;
  let sum = 0;
  for (let i = 0; i < own; i++) sum += (solved.residuals[i]! * noise) ** 2;
  const residualPx = Math.sqrt(sum / own);
  // Neighbouring edge points share their pixels: about three of them are one measurement. Worse fits widen the deviations.
  const scale = Math.max(1, residualPx / noise) * ('edges' in observed ? Math.sqrt(3) : 1);
  const size = fixedFocal ? 6 : 7, o = fixedFocal ? -1 : 0;
  const sd = (k: number): number => (k + o < 0 ? 0 : Math.sqrt(Math.max(0, solved.covariance![(k + o) * size + k + o]!)) * scale);
  const focal = Math.exp(lf), height = Math.exp(lh);
  return {
    cost: solved.cost,
    pose: {
      focalPx: focal, tiltDeg: tilt * DEG_PER_RAD, rollDeg: roll * DEG_PER_RAD, cameraHeight: height, card: { x, z, turnDeg: turn * DEG_PER_RAD },
      sd: { focalPx: sd(0) * focal, tiltDeg: sd(1) * DEG_PER_RAD, rollDeg: sd(2) * DEG_PER_RAD, cameraHeight: sd(3) * height }, residualPx, markers: observed.markers,
      priorLed: !fixedFocal && sd(0) > PRIOR_LN_SD * 0.6,
    },
  };
}
