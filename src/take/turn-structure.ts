/**
 * A body that turns about an upright, told by the ways of its points alone: how far it turns from frame to frame, and
 * how steeply it is looked down at. With x aside, y up and z towards the camera about the body's middle, a turn by θ
 * and a look down by e bring a point to
 *   x' = x cos θ + z sin θ,  y' = −y cos e + (z cos θ − x sin θ) sin e (down in the picture),
 * both enlarged by f / (f − nearer), f the lens in pixels. That the ways of points tell turn and shape of a rigid body
 * without either being known: Ullman, *The Interpretation of Visual Motion*, 1979; by least squares over all frames:
 * Tomasi & Kanade, IJCV 9, 1992, and with perspective Hartley & Zisserman, *Multiple View Geometry*, 2nd ed., 2004,
 * section 18.1. Points are linear where turn and look are given, so they are solved within (variable projection: Golub
 * & Pereyra, SIAM J. Numer. Anal. 10, 1973).
 */
import { levenbergMarquardt } from '../geometry/levenberg-marquardt.js';
import { median } from '../image/statistics.js';
import type { CoatTrack } from './turn-tracks.js';

export interface TurnStructure {
  /** Look down at the body's middle, radians, and its sd by the fit. */
  readonly elevation: number;
  readonly sd: number;
  /** Turn on each frame since the middle one, radians; positive where the front turns to the picture's right. */
  readonly yaw: readonly number[];
  /** What the fit leaves (robust rms), and the points' median way over the frames on which they are seen, px. */
  readonly leftPx: number;
  readonly motionPx: number;
  /** How much nearer points about the middle lie than those about the rim, in parts of the points' rms breadth. */
  readonly bulge: number;
  /** Half the weighted squares left, by which two answers are compared. */
  readonly cost: number;
}

/** The lens about, px, and how well it is known (sd of ln). */
export interface LensAbout {
  readonly focalPx: number;
  readonly lnSd: number;
}

/** Frames on which a point must be seen, and how many such points a fit needs. */
const LEAST_SEEN = 5,
  LEAST_POINTS = 30;
/**
 * Sd of a point's place, px: neighbours share their motion's error, so that some nine of them are one (as in
 * turn-slope.ts). What is farther off than a third of it counts less.
 */
const POINT_SD = 3,
  HUBER = 1 / 3;
/** Sd of the ln size from frame to frame: a body that turns on the spot hardly comes nearer (own choice). */
const SIZE_SD = 0.1;
/** Keeps the depth of a point in hand that hardly turns. */
const RIDGE = 1e-3;
/** Unknowns of each frame: turn, shift aside and down, ln size. */
const PER_FRAME = 4;

/**
 * Null with too few points.
 *
 * @param tracks about the body's middle, px, as a camera aimed at it sees them
 * @param start radians
 */
export function turnStructure(
  tracks: readonly CoatTrack[],
  lens: LensAbout,
  start: { readonly elevation: number; readonly yaw: readonly number[] },
): TurnStructure | null {
  const used = tracks.filter((t) => t.x.reduce((n, v) => n + (Number.isNaN(v) ? 0 : 1), 0) >= LEAST_SEEN);
  if (used.length < LEAST_POINTS) return null;
  const problem = new TurnProblem(used, start.yaw.length, lens),
    fit = levenbergMarquardt({
      start: problem.start(start),
      residualCount: problem.residualCount,
      residuals: (p, out) => problem.residuals(p, out),
      steps: new Float64Array(problem.unknowns).fill(1e-5),
      loss: { kind: 'huber', scale: HUBER },
      maxIterations: 60,
    });
  let left = 0,
    weight = 0;
  for (let i = 0; i < problem.data; i++) {
    const seen = !Number.isNaN((i % 2 === 0 ? problem.xs : problem.ys)[i >> 1]!);
    if (!seen) continue;
    left += fit.weights[i]! * fit.residuals[i]! ** 2;
    weight += fit.weights[i]!;
  }
  return {
    elevation: fit.parameters[0]!,
    sd: fit.covariance === null ? Infinity : Math.sqrt(fit.covariance[0]!),
    yaw: start.yaw.map((_, k) => problem.poseOf(fit.parameters, k).yaw),
    leftPx: POINT_SD * Math.sqrt(left / Math.max(1, weight)),
    motionPx: median(used.map(wayOf)),
    bulge: problem.bulge(fit.parameters),
    cost: fit.cost,
  };
}

/** Length of a point's way from the first frame on which it is seen to the last, px. */
function wayOf({ x, y }: CoatTrack): number {
  const first = x.findIndex((v) => !Number.isNaN(v)),
    last = x.findLastIndex((v) => !Number.isNaN(v));
  return Math.hypot(x[last]! - x[first]!, y[last]! - y[first]!);
}

interface Pose {
  readonly yaw: number;
  readonly aside: number;
  readonly down: number;
  readonly size: number;
}

/** Turn and look as least squares: unknowns e, ln f, then four of every frame but the middle one. */
class TurnProblem {
  readonly unknowns: number;
  readonly data: number;
  readonly residualCount: number;
  /** Places of all points by frame, points × frames, px. */
  readonly xs: Float64Array;
  readonly ys: Float64Array;
  private readonly middle: number;
  /** Rms breadth of the points on the middle frame: the unit of shifts, px. */
  private readonly breadth: number;
  private readonly points: Float64Array;

  private readonly frames: number;
  private readonly lens: LensAbout;

  constructor(tracks: readonly CoatTrack[], frames: number, lens: LensAbout) {
    this.frames = frames;
    this.lens = lens;
    this.middle = frames >> 1;
    this.unknowns = 2 + PER_FRAME * (frames - 1);
    this.data = 2 * frames * tracks.length;
    this.residualCount = this.data + 1 + 3 * (frames - 1);
    this.xs = Float64Array.from(tracks.flatMap((t) => [...t.x]));
    this.ys = Float64Array.from(tracks.flatMap((t) => [...t.y]));
    this.points = new Float64Array(3 * tracks.length);
    this.breadth = Math.max(1, Math.sqrt(tracks.reduce((s, t) => s + t.x[this.middle]! ** 2, 0) / tracks.length));
  }

  start(from: { readonly elevation: number; readonly yaw: readonly number[] }): Float64Array {
    const p = new Float64Array(this.unknowns);
    p[0] = from.elevation;
    p[1] = Math.log(this.lens.focalPx);
    from.yaw.forEach((yaw, k) => {
      if (k !== this.middle) p[this.slot(k)] = yaw;
    });
    return p;
  }

  private slot(frame: number): number {
    return 2 + PER_FRAME * (frame < this.middle ? frame : frame - 1);
  }

  poseOf(p: Float64Array, frame: number): Pose {
    if (frame === this.middle) return { yaw: 0, aside: 0, down: 0, size: 1 };
    const s = this.slot(frame);
    return {
      yaw: p[s]!,
      aside: p[s + 1]! * this.breadth,
      down: p[s + 2]! * this.breadth,
      size: Math.exp(p[s + 3]!),
    };
  }

  /** In sds: where each point is off on each frame, then what is usual of lens, shift and size. */
  residuals(p: Float64Array, out: Float64Array): void {
    const poses = Array.from({ length: this.frames }, (_, k) => this.poseOf(p, k)),
      se = Math.sin(p[0]!),
      ce = Math.cos(p[0]!),
      perPx = Math.exp(-p[1]!);
    this.solvePoints(poses, se, ce, perPx);
    const { frames, xs, ys, points } = this;
    for (let k = 0; k < frames; k++) {
      const { yaw, aside, down, size } = poses[k]!,
        c = Math.cos(yaw),
        s = Math.sin(yaw);
      for (let i = 0; 3 * i < points.length; i++) {
        const at = i * frames + k,
          x = points[3 * i]!,
          y = points[3 * i + 1]!,
          z = points[3 * i + 2]!,
          level = z * c - x * s,
          enlarged = size / (1 - (y * se + level * ce) * perPx),
          seen = !Number.isNaN(xs[at]!);
        out[2 * at] = seen ? (enlarged * (x * c + z * s + aside) - xs[at]!) / POINT_SD : 0;
        out[2 * at + 1] = seen ? (enlarged * (level * se - y * ce + down) - ys[at]!) / POINT_SD : 0;
      }
    }
    let o = this.data;
    out[o++] = (p[1]! - Math.log(this.lens.focalPx)) / this.lens.lnSd;
    for (let k = 0; k < frames; k++) {
      if (k === this.middle) continue;
      const { aside, down, size } = poses[k]!;
      out[o++] = aside / this.breadth;
      out[o++] = down / this.breadth;
      out[o++] = Math.log(size) / SIZE_SD;
    }
  }

  /** Every point by linear least squares over its frames: x' (1 − nearer / f) = size (aside + shift), y' alike. */
  private solvePoints(poses: readonly Pose[], se: number, ce: number, perPx: number): void {
    const { frames, xs, ys, points } = this,
      normal = new Float64Array(6),
      right = new Float64Array(3),
      turns = poses.map((q) => [Math.cos(q.yaw), Math.sin(q.yaw)] as const);
    for (let i = 0; 3 * i < points.length; i++) {
      normal.fill(0);
      right.fill(0);
      for (let k = 0; k < frames; k++) {
        const x = xs[i * frames + k]!,
          y = ys[i * frames + k]!;
        if (Number.isNaN(x)) continue;
        const [c, s] = turns[k]!,
          { aside, down, size: g } = poses[k]!,
          [nx, ny, nz] = [-s * ce * perPx, se * perPx, c * ce * perPx];
        add(normal, right, g * c + x * nx, x * ny, g * s + x * nz, x - g * aside);
        add(normal, right, y * nx - g * s * se, y * ny - g * ce, g * c * se + y * nz, y - g * down);
      }
      normal[5]! += RIDGE;
      solveSymmetric3(normal, right, points, 3 * i);
    }
  }

  /** Mean nearness about the middle less that about the rim, at some unknowns. */
  bulge(p: Float64Array): number {
    this.residuals(p, new Float64Array(this.residualCount));
    const near: number[] = [],
      rim: number[] = [];
    for (let i = 0; 3 * i < this.points.length; i++) {
      const aside = Math.abs(this.xs[i * this.frames + this.middle]!) / this.breadth;
      if (aside < 0.5) near.push(this.points[3 * i + 2]!);
      else if (aside > 1.25) rim.push(this.points[3 * i + 2]!);
    }
    const mean = (v: readonly number[]): number => v.reduce((s, q) => s + q, 0) / v.length;
    return near.length === 0 || rim.length === 0 ? 0 : (mean(near) - mean(rim)) / this.breadth;
  }
}

/** Adds an equation a x + b y + c z = d to the normal equations (upper half, row by row). */
function add(n: Float64Array, r: Float64Array, a: number, b: number, c: number, d: number): void {
  n[0]! += a * a;
  n[1]! += a * b;
  n[2]! += a * c;
  n[3]! += b * b;
  n[4]! += b * c;
  n[5]! += c * c;
  r[0]! += a * d;
  r[1]! += b * d;
  r[2]! += c * d;
}

/** By Cramer's rule; zero where the equations say nothing. */
function solveSymmetric3(n: Float64Array, r: Float64Array, out: Float64Array, at: number): void {
  const [a, b, c, d, e, f] = n as unknown as [number, number, number, number, number, number],
    [p, q, s] = r as unknown as [number, number, number],
    aa = d * f - e * e,
    ab = c * e - b * f,
    ac = b * e - c * d,
    bb = a * f - c * c,
    bc = b * c - a * e,
    cc = a * d - b * b,
    det = a * aa + b * ab + c * ac,
    by = Math.abs(det) > 1e-12 ? 1 / det : 0;
  out[at] = by * (aa * p + ab * q + ac * s);
  out[at + 1] = by * (ab * p + bb * q + bc * s);
  out[at + 2] = by * (ac * p + bc * q + cc * s);
}
