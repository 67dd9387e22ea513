/**
 * The pace between two turns of which only a few poses are known: both are taken to follow one smooth curve of yaw, the
 * take at its own pace and start, so the pace is the one that lays both sets of poses on the smoothest curve. For each
 * pace and offset the merged poses are fitted by a cubic smoothing spline (C. H. Reinsch, *Smoothing by Spline
 * Functions*, Numer. Math. 10, 1967), and its misfit plus roughness is what is minimised. Where poses are dense this
 * agrees with reading times of equal yaw off; where they are three, it does not mistake a chord for the curve.
 */
import { choleskyFactor, solveWithFactor } from '../../geometry/linear-solve.js';
import type { Pose } from '../../plate/turn/turn-poses.js';

/** sd of a pose read by eye, degrees. */
const POSE_SD = 2;
/** Weight of roughness in units of a turn of the whole range in the whole time: the program's own choice. */
const ROUGHNESS = 4;

/** How far apart two starts at the same yaw may be, as a share of the plate's turn. */
const START_SLACK = 0.12;

export interface PosePace {
  /** The take's pace over the plate's (below 1: the take turns too slowly), and its standard deviation. */
  readonly pace: number;
  readonly sd: number;
  /** Plate seconds = pace × take seconds + offset. */
  readonly offsetS: number;
}

/**
 * @param plate at least three poses, unwrapped, times in seconds; `take` the same
 * @returns null where either has fewer than three poses or they do not share half of the smaller turn
 */
export function paceOfPoses(
  plate: readonly Pose[],
  take: readonly Pose[],
  plateFps: number,
  takeFps: number,
): PosePace | null {
  if (plate.length < 3 || take.length < 3) return null;
  const a = plate.map((p) => ({ t: p.frame / plateFps, y: p.yawDeg }));
  const b = take.map((p) => ({ t: p.frame / takeFps, y: p.yawDeg }));
  const range = (v: readonly { y: number }[]): [number, number] => [
    Math.min(...v.map((q) => q.y)),
    Math.max(...v.map((q) => q.y)),
  ];
  const ra = range(a);
  const rb = range(b);
  const common = Math.min(ra[1], rb[1]) - Math.max(ra[0], rb[0]);
  const smaller = Math.min(ra[1] - ra[0], rb[1] - rb[0]);
  if (!(common > 0.5 * smaller) || !(common > 12)) return null;
  const span = a[a.length - 1]!.t - a[0]!.t;
  // A typical acceleration: the whole range, half the time speeding up, half slowing down.
  const unit = (4 * (ra[1] - ra[0])) / (span * span);
  // Poses are mostly marked from the start of the turn on: where both begin at the same
  // yaw, that is weak word of the offset.
  const sameStart = Math.abs(a[0]!.y - b[0]!.y) < 2.5;
  const cost = (p: number, c: number): number => {
    const points = [...a, ...b.map((q) => ({ t: p * q.t + c, y: q.y }))].sort((q, r) => q.t - r.t);
    const late = sameStart ? (p * b[0]!.t + c - a[0]!.t) / (START_SLACK * span) : 0;
    return splineCost(points, ROUGHNESS / (unit * unit * span)) + late * late;
  };
  const mid = (v: readonly { t: number; y: number }[]): number =>
    timeOf(v, (Math.max(ra[0], rb[0]) + Math.min(ra[1], rb[1])) / 2);
  const ta = mid(a);
  const tb = mid(b);
  // Several valleys: the best start of each pace is kept, and the best few of those are followed down.
  const starts: Start[] = [];
  for (let k = 0; k <= 60; k++) {
    const p = 0.35 * 8 ** (k / 60);
    let at: Start = { p, c: 0, cost: Infinity };
    for (let j = -20; j <= 20; j++) {
      const c = ta - p * tb + (0.3 * span * j) / 20;
      const v = cost(p, c);
      if (v < at.cost) at = { p, c, cost: v };
    }
    starts.push(at);
  }
  let best: Start = { p: 1, c: 0, cost: Infinity };
  for (const start of [...starts].sort((q, r) => q.cost - r.cost).slice(0, 8)) {
    const found = descend(start, cost, span, tb);
    if (found.cost < best.cost) best = found;
  }
  // Curvature along p with the best offset gives its sd (cost is a chi-square).
  const h = 0.06;
  const along = (s: number): number => {
    let v = Infinity;
    for (let j = -8; j <= 8; j++)
      v = Math.min(v, cost(best.p * (1 + s), best.c - s * best.p * tb + (0.05 * span * j) / 8));
    return v;
  };
  const curve = (along(h) + along(-h) - 2 * best.cost) / (h * h);
  return {
    pace: best.p,
    sd: best.p * Math.min(0.5, Math.max(0.015, Math.sqrt(2 / Math.max(1e-6, curve)))),
    offsetS: best.c,
  };
}

interface Start {
  readonly p: number;
  readonly c: number;
  readonly cost: number;
}

/** Pattern search with halving steps. */
function descend(start: Start, cost: (p: number, c: number) => number, span: number, tb: number): Start {
  let best = start;
  let sp = 0.03;
  let sc = 0.02 * span;
  for (let round = 0; round < 80 && sp > 1e-4; round++) {
    let moved = false;
    for (const [dp, dc] of [
      [sp, 0],
      [-sp, 0],
      [0, sc],
      [0, -sc],
      [sp, -sp * best.p * tb],
      [-sp, sp * best.p * tb],
    ] as const) {
      const p = best.p * (1 + dp);
      const c = best.c + dc;
      const v = cost(p, c);
      if (v < best.cost - 1e-9) {
        best = { p, c, cost: v };
        moved = true;
        break;
      }
    }
    if (!moved) {
      sp /= 2;
      sc /= 2;
    }
  }
  return best;
}

function timeOf(v: readonly { t: number; y: number }[], y: number): number {
  for (let i = 1; i < v.length; i++) {
    const p = v[i - 1]!;
    const q = v[i]!;
    if ((y - p.y) * (y - q.y) <= 0 && p.y !== q.y) return p.t + ((y - p.y) / (q.y - p.y)) * (q.t - p.t);
  }
  return v[Math.floor(v.length / 2)]!.t;
}

/** Misfit and roughness of the smoothing spline through the points (sorted by time); λ weighs ∫ f″². */
function splineCost(points: readonly { t: number; y: number }[], lambda: number): number {
  // Poses at one moment are one knot: their mean, and the scatter about it counts as misfit.
  const t: number[] = [];
  const y: number[] = [];
  const w: number[] = [];
  let scatter = 0;
  const gap = (points[points.length - 1]!.t - points[0]!.t) * 0.002;
  for (const q of points) {
    const k = t.length - 1;
    if (k >= 0 && q.t - t[k]! < gap) {
      const d = q.y - y[k]!;
      scatter += ((w[k]! / (w[k]! + 1)) * d * d) / (POSE_SD * POSE_SD);
      y[k] = y[k]! + d / (w[k]! + 1);
      w[k] = w[k]! + 1;
    } else {
      t.push(q.t);
      y.push(q.y);
      w.push(1);
    }
  }
  const n = t.length;
  const m = n - 2;
  if (m < 1) return scatter;
  // Q (n × m) second differences, R (m × m) Gram matrix; γ = (R + λ Qᵀ W⁻¹ Q)⁻¹ Qᵀ y; cost = λ γᵀ (R + λ QᵀW⁻¹Q) γ.
  const q = new Float64Array(n * m);
  const A = new Float64Array(m * m);
  const g = new Float64Array(m);
  for (let j = 0; j < m; j++) {
    const h0 = t[j + 1]! - t[j]!;
    const h1 = t[j + 2]! - t[j + 1]!;
    q[j * m + j] = 1 / h0;
    q[(j + 1) * m + j] = -1 / h0 - 1 / h1;
    q[(j + 2) * m + j] = 1 / h1;
    A[j * m + j] = (h0 + h1) / 3;
    if (j + 1 < m) {
      A[j * m + j + 1] = h1 / 6;
      A[(j + 1) * m + j] = h1 / 6;
    }
  }
  for (let i = 0; i < m; i++)
    for (let j = 0; j < m; j++) {
      let s = 0;
      for (let k = 0; k < n; k++) s += (q[k * m + i]! * q[k * m + j]! * POSE_SD * POSE_SD) / w[k]!;
      A[i * m + j] = A[i * m + j]! + lambda * s;
    }
  for (let j = 0; j < m; j++) for (let k = 0; k < n; k++) g[j] = g[j]! + q[k * m + j]! * y[k]!;
  const l = choleskyFactor(A, m);
  if (l === null) return Infinity;
  const gamma = solveWithFactor(l, g, m);
  let dot = 0;
  for (let j = 0; j < m; j++) dot += gamma[j]! * g[j]!;
  return lambda * dot + scatter;
}
