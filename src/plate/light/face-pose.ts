/**
 * Which way a head looks, from two eyes, the tip of the nose and (where marked) the middle of the mouth: a rigid,
 * symmetric shape seen from so far that size is one number a frame (scaled orthography, as C. Tomasi & T. Kanade,
 * *Shape and Motion from Image Streams under Orthography*, IJCV 9, 1992), fitted to all frames at once by least
 * squares. Shape and poses are solved together: a head that turns shows how far its nose stands out, so a rabbit's does
 * as well as a man's. Until it turns, broad priors stand in, and the stated sd says so.
 *
 * Head's own axes: unit = half the distance of the eyes, origin between them, x to the picture's
 * right when it looks into the camera, y down, z towards the camera. Yaw 0 looks into the camera
 * and grows as the face turns to the picture's left.
 */
import { levenbergMarquardt } from '../../geometry/levenberg-marquardt.js';

export type Landmark = 'leftEye' | 'rightEye' | 'nose' | 'mouth';
/** All four. */
export const LANDMARKS: readonly Landmark[] = ['leftEye', 'rightEye', 'nose', 'mouth'];

export interface Sighting {
  readonly frame: number;
  readonly points: Partial<Record<Landmark, { readonly x: number; readonly y: number; readonly sdPx: number }>>;
}

export interface FacePose {
  readonly frame: number;
  readonly yawDeg: number;
  readonly pitchDeg: number;
  readonly rollDeg: number;
  /** Of the yaw: points and shape. */
  readonly sd: number;
}

export interface FaceFit {
  readonly poses: readonly FacePose[];
  /** How far the nose stands out, in half eye distances, and its sd. */
  readonly nose: { readonly value: number; readonly sd: number };
  /** rms of what the shape leaves of the points, px. */
  readonly residualPx: number;
}

/**
 * Priors of the shape: logarithm of the nose's standing out, nose down, mouth down, mouth out. About a human face's
 * (pupils 63 mm apart: N. A. Dodgson, *Variation and extrema of human interpupillary distance*, SPIE 5291, 2004; the
 * rest from memory), with spreads that leave room for animals.
 */
const SHAPE = [0, 1.35, 2.1, 0.5];
const SHAPE_SD = [0.5, 0.7, 0.8, 0.7];
/** How far one head is from its own usual size (share), nod and lean (degrees) over a shot: our own choice. */
const SIZE_SD = 0.04;
const NOD_SD = 6;
const LEAN_SD = 5;
/** A face near the front hides its yaw in a cosine: the linear sd falls short by about this. */
const NEAR_FRONT = 1.25;
const JOINT_FRAMES = 28;
const RAD = Math.PI / 180;

interface Seen {
  readonly frame: number;
  readonly k: readonly number[];
  readonly x: readonly number[];
  readonly y: readonly number[];
  readonly sd: readonly number[];
}

/** Null where no frame shows at least three of the points, two of them the eyes. */
export function solveFace(sightings: readonly Sighting[]): FaceFit | null {
  const all = sightings
    .map(seenOf)
    .filter((s) => s.k.length >= 3 && s.k.includes(2))
    .sort((a, b) => a.frame - b.frame);
  const whole = all.filter((s) => s.k.includes(0) && s.k.includes(1));
  if (whole.length === 0) return null;
  const { shape, usual, shapeSd } = solveJointly(evenly(whole, JOINT_FRAMES));
  const poses: FacePose[] = [];
  let squares = 0;
  let count = 0;
  let last: readonly number[] | null = null;
  for (const s of all) {
    const one = solveOne(s, shape, usual, last);
    last = one.p;
    let shapeVar = 0;
    for (let j = 0; j < 4; j++) {
      const other = Float64Array.from(shape);
      other[j] = other[j]! + shapeSd[j]!;
      shapeVar += (solveOne(s, other, usual, one.p).p[1]! - one.p[1]!) ** 2;
    }
    poses.push({
      frame: s.frame,
      yawDeg: one.p[1]! / RAD,
      pitchDeg: one.p[2]! / RAD,
      rollDeg: one.p[3]! / RAD,
      sd: (NEAR_FRONT * Math.hypot(one.sdYaw, Math.sqrt(shapeVar))) / RAD,
    });
    squares += one.squares;
    count += s.k.length;
  }
  const nose = Math.exp(shape[0]!);
  return {
    poses,
    nose: { value: nose, sd: nose * shapeSd[0]! },
    residualPx: Math.sqrt(squares / Math.max(1, 2 * count)),
  };
}

function seenOf(s: Sighting): Seen {
  const k = [0, 1, 2, 3].filter((i) => s.points[LANDMARKS[i]!] !== undefined);
  const at = k.map((i) => s.points[LANDMARKS[i]!]!);
  return { frame: s.frame, k, x: at.map((p) => p.x), y: at.map((p) => p.y), sd: at.map((p) => p.sdPx) };
}

function evenly<T>(list: readonly T[], most: number): T[] {
  return list.length <= most
    ? [...list]
    : Array.from({ length: most }, (_, i) => list[Math.round((i * (list.length - 1)) / (most - 1))]!);
}

/** x, y of a landmark by pose p = [log size, yaw, pitch, roll, tx, ty] and shape; written to out. */
function project(p: ArrayLike<number>, o: number, shape: ArrayLike<number>, landmark: number, out: Float64Array): void {
  const X = landmark === 0 ? -1 : landmark === 1 ? 1 : 0;
  const Y = landmark === 2 ? shape[1]! : landmark === 3 ? shape[2]! : 0;
  const Z = landmark === 2 ? Math.exp(shape[0]!) : landmark === 3 ? shape[3]! : 0;
  const s = Math.exp(p[o]!);
  const cy = Math.cos(p[o + 1]!);
  const sy = Math.sin(p[o + 1]!);
  const cp = Math.cos(p[o + 2]!);
  const sp = Math.sin(p[o + 2]!);
  const cr = Math.cos(p[o + 3]!);
  const sr = Math.sin(p[o + 3]!);
  const x = cy * X - sy * Z;
  const z = sy * X + cy * Z;
  const y = cp * Y + sp * z;
  out[0] = p[o + 4]! + s * (cr * x - sr * y);
  out[1] = p[o + 5]! + s * (sr * x + cr * y);
}

interface Usual {
  readonly logSize: number;
  readonly pitch: number;
  readonly roll: number;
}

/** Start by geometry: how far the nose's foot lies beside the middle of the eyes, against their distance. */
function startOf(s: Seen, noseOut: number): number[] {
  const at = (k: number): readonly [number, number] | null => {
    const i = s.k.indexOf(k);
    return i < 0 ? null : [s.x[i]!, s.y[i]!];
  };
  const l = at(0);
  const r = at(1);
  const n = at(2)!;
  if (l === null || r === null) return [Math.log(20), 0, 0, 0, n[0], n[1]];
  const half = Math.max(1, Math.hypot(r[0] - l[0], r[1] - l[1]) / 2);
  const roll = Math.atan2(r[1] - l[1], r[0] - l[0]);
  const mx = (l[0] + r[0]) / 2;
  const my = (l[1] + r[1]) / 2;
  const beside = (n[0] - mx) * Math.cos(roll) + (n[1] - my) * Math.sin(roll);
  const yaw = -Math.atan2(beside, half * noseOut);
  return [Math.log(half / Math.max(0.3, Math.cos(yaw))), yaw, 0, Math.abs(roll) < 0.6 ? roll : 0, mx, my];
}

/** Shape, usual size, nod and lean with the poses of some frames. Parameters: shape 4, usual 3, then six a frame. */
function solveJointly(frames: readonly Seen[]): { shape: Float64Array; usual: Usual; shapeSd: number[] } {
  const F = frames.length;
  const n = 7 + 6 * F;
  const start = new Float64Array(n);
  start.set(SHAPE);
  frames.forEach((s, i) => start.set(startOf(s, 1), 7 + 6 * i));
  const sizes = frames.map((_, i) => start[7 + 6 * i]!).sort((a, b) => a - b);
  start[4] = sizes[F >> 1]!;
  const points = frames.reduce((t, s) => t + s.k.length, 0);
  const steps = new Float64Array(n).fill(1e-5);
  for (let i = 0; i < F; i++) {
    steps[7 + 6 * i + 4] = 1e-3;
    steps[7 + 6 * i + 5] = 1e-3;
  }
  const xy = new Float64Array(2);
  const fit = levenbergMarquardt({
    start,
    steps,
    residualCount: 2 * points + 6 + 4 * F,
    maxIterations: 60,
    loss: { kind: 'huber', scale: 2.5 },
    blockSize: 1,
    residuals: (p, out) => {
      let o = 0;
      frames.forEach((s, i) => {
        for (let j = 0; j < s.k.length; j++) {
          project(p, 7 + 6 * i, p, s.k[j]!, xy);
          out[o++] = (s.x[j]! - xy[0]!) / s.sd[j]!;
          out[o++] = (s.y[j]! - xy[1]!) / s.sd[j]!;
        }
      });
      for (let j = 0; j < 4; j++) out[o++] = (p[j]! - SHAPE[j]!) / SHAPE_SD[j]!;
      out[o++] = p[5]! / (25 * RAD);
      out[o++] = p[6]! / (15 * RAD);
      for (let i = 0; i < F; i++) {
        out[o++] = (p[7 + 6 * i]! - p[4]!) / SIZE_SD;
        out[o++] = p[7 + 6 * i + 1]! / (90 * RAD);
        out[o++] = (p[7 + 6 * i + 2]! - p[5]!) / (NOD_SD * RAD);
        out[o++] = (p[7 + 6 * i + 3]! - p[6]!) / (LEAN_SD * RAD);
      }
    },
  });
  const p = fit.parameters;
  const c = fit.covariance;
  return {
    shape: p.slice(0, 4),
    usual: { logSize: p[4]!, pitch: p[5]!, roll: p[6]! },
    shapeSd: [0, 1, 2, 3].map((j) =>
      c === null ? SHAPE_SD[j]! : Math.min(SHAPE_SD[j]!, Math.sqrt(Math.max(0, c[j * n + j]!))),
    ),
  };
}

/** One frame's pose with the shape known. */
function solveOne(
  s: Seen,
  shape: Float64Array,
  usual: Usual,
  near: readonly number[] | null,
): { p: number[]; sdYaw: number; squares: number } {
  const eyes = s.k.includes(0) && s.k.includes(1);
  const start = eyes || near === null ? startOf(s, Math.exp(shape[0]!)) : [...near];
  if (!eyes && near === null) start[1] = s.k.includes(0) ? -60 * RAD : 60 * RAD;
  start[0] = usual.logSize;
  const n = s.k.length;
  const xy = new Float64Array(2);
  const fit = levenbergMarquardt({
    start,
    steps: [1e-5, 1e-5, 1e-5, 1e-5, 1e-3, 1e-3],
    residualCount: 2 * n + 4,
    maxIterations: 40,
    loss: { kind: 'huber', scale: 2.5 },
    blockSize: 1,
    residuals: (p, out) => {
      let o = 0;
      for (let j = 0; j < n; j++) {
        project(p, 0, shape, s.k[j]!, xy);
        out[o++] = (s.x[j]! - xy[0]!) / s.sd[j]!;
        out[o++] = (s.y[j]! - xy[1]!) / s.sd[j]!;
      }
      out[o++] = (p[0]! - usual.logSize) / SIZE_SD;
      out[o++] = p[1]! / (90 * RAD);
      out[o++] = (p[2]! - usual.pitch) / (NOD_SD * RAD);
      out[o++] = (p[3]! - usual.roll) / (LEAN_SD * RAD);
    },
  });
  let squares = 0;
  for (let i = 0; i < 2 * n; i++) squares += (fit.residuals[i]! * s.sd[i >> 1]!) ** 2;
  return {
    p: [...fit.parameters],
    sdYaw: fit.covariance === null ? 90 * RAD : Math.sqrt(Math.max(0, fit.covariance[7]!)),
    squares,
  };
}
