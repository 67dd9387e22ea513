/**
 * Lens, lie of the ground and poses of a travelling camera adjusted together over the pieces that were followed, in
 * heights of the camera over the ground at the view's frame (bundle adjustment with the points' depths eliminated:
 * Triggs, McLauchlan, Hartley & Fitzgibbon, *Bundle Adjustment: A Modern Synthesis*, LNCS 1883, 2000, sections 3 and 6;
 * damping after Marquardt 1963). Pieces on the ground have no depth of their own: the ground's lie gives it.
 *
 * Unknowns: ln focal length, tilt and roll of the view (rad), six of each pose (a turn on its left, a shift). The view's
 * frame is at home. Answers the solution with its information, which is what the marks of a view are then joined with.
 */
import { applyVector, multiply, type Mat3, type Vec3 } from '../../geometry/mat3.js';
import { rotationFromVector } from '../../geometry/rotation.js';
import { choleskyFactor, solveWithFactor } from '../../geometry/linear-solve.js';
import { setCamera, type Cam } from '../view/view-pinhole.js';
import { AT_HOME, chain, inversePose, movedPlane, type Pose } from './travel-pose.js';

/** One piece of the set: the frame (by its place in `poses`) that it was cut from, and where it shows. */
export interface BundlePoint {
  readonly key: number;
  /** Pixels from the picture's middle, in its key and in each frame (by its place). */
  readonly x: number;
  readonly y: number;
  readonly sights: readonly { readonly at: number; readonly x: number; readonly y: number }[];
  /** Inverse depth in its key, in one over camera heights; null on the ground. */
  rho: number | null;
  /** Of that depth, as it was found. */
  readonly relativeSd: number;
}

/** What is adjusted; `poses` lead from the view's frame, which is `home` among them. */
export interface BundleState {
  lnFocal: number;
  tilt: number;
  roll: number;
  poses: Pose[];
}

/** What is held to beforehand: ln focal length, tilt, roll, each with its sd. */
export interface BundleHold {
  readonly at: readonly [number, number, number];
  readonly sd: readonly [number, number, number];
}

export interface BundleAnswer {
  readonly state: BundleState;
  /** Normal equations of the unknowns without what was held, n × n; one residual's variance is in it. */
  readonly information: Float64Array;
  /** Their right side: not nothing, as what is held pulls at the solution. */
  readonly gradient: Float64Array;
  /** Robust sd of a coordinate, px. */
  readonly residualPx: number;
}

const GLOBALS = 3;
const ROUNDS = 12;
/** Residuals bend over beyond so many sds (Cauchy's loss). */
const BEND = 2.5;
const LEAST_SD_PX = 0.08;
const STEP = 1e-5;
/** Information of a lens that is given. */
const GIVEN = 1e12;

/** The ground's normal, down, as a camera of this tilt and roll sees it. */
export function groundNormal(tilt: number, roll: number): Vec3 {
  const { r } = setCamera([0, tilt, roll, 0], 0, 0, emptyCamera());
  return [-r[1]!, -r[4]!, -r[7]!];
}

const emptyCamera = (): Cam => ({ f: 1, h: 1, cx: 0, cy: 0, r: new Float64Array(9) });

/** A pose turned and shifted by six small numbers. */
function nudged(p: Pose, d: ArrayLike<number>, from = 0): Pose {
  return {
    r: multiply(rotationFromVector([d[from]!, d[from + 1]!, d[from + 2]!]), p.r),
    t: [p.t[0] + d[from + 3]!, p.t[1] + d[from + 4]!, p.t[2] + d[from + 5]!],
  };
}

/** From a key to a frame, with the key's own ground and the lens. */
interface Between {
  readonly r: Mat3;
  readonly t: Vec3;
  readonly n: Vec3;
  readonly d: number;
  readonly f: number;
}

function between(f: number, normal: Vec3, key: Pose, frame: Pose): Between {
  const p = chain(frame, inversePose(key));
  const plane = movedPlane(normal, 1, key);
  return { r: p.r, t: p.t, n: plane.n, d: plane.d, f };
}

/** Where a point shows, written into `out`. */
function place(b: Between, x: number, y: number, rho: number | null, out: Float64Array): void {
  const u = x / b.f;
  const v = y / b.f;
  const k = rho ?? (b.n[0] * u + b.n[1] * v + b.n[2]) / b.d;
  const X = b.r[0] * u + b.r[1] * v + b.r[2] + b.t[0] * k;
  const Y = b.r[3] * u + b.r[4] * v + b.r[5] + b.t[1] * k;
  const Z = Math.max(1e-3, b.r[6] * u + b.r[7] * v + b.r[8] + b.t[2] * k);
  out[0] = (b.f * X) / Z;
  out[1] = (b.f * Y) / Z;
}

/** The bundle as a problem: which unknown is whose. */
class Bundle {
  /** First unknown of each pose; −1 for the one at home. */
  readonly offsets: readonly number[];
  readonly n: number;
  private readonly points: readonly BundlePoint[];
  private readonly hold: BundleHold;
  constructor(points: readonly BundlePoint[], poses: number, home: number, hold: BundleHold) {
    this.points = points;
    this.hold = hold;
    this.offsets = Array.from({ length: poses }, (_, i) => (i === home ? -1 : GLOBALS + 6 * (i < home ? i : i - 1)));
    this.n = GLOBALS + 6 * (poses - 1);
  }

  /** Residual lengths of all sights, px. */
  lengths(s: BundleState): number[] {
    const out: number[] = [];
    this.each(s, (p, sight, b) => {
      place(b, p.x, p.y, p.rho, SPOT);
      out.push(Math.hypot(SPOT[0]! - sight.x, SPOT[1]! - sight.y));
    });
    return out;
  }

  /** Cost under Cauchy's loss with the residuals' sd `sd`, and what is held. */
  cost(s: BundleState, sd: number): number {
    let sum = 0;
    for (const l of this.lengths(s)) sum += BEND * BEND * Math.log1p((l / sd / BEND) ** 2);
    const g = [s.lnFocal, s.tilt, s.roll];
    for (let i = 0; i < GLOBALS; i++) sum += ((g[i]! - this.hold.at[i]!) / this.hold.sd[i]!) ** 2;
    return sum;
  }

  private each(s: BundleState, fn: (p: BundlePoint, sight: BundlePoint['sights'][number], b: Between) => void): void {
    const normal = groundNormal(s.tilt, s.roll);
    const f = Math.exp(s.lnFocal);
    const known = new Map<number, Between>();
    for (const p of this.points)
      for (const sight of p.sights) {
        const id = p.key * 1000 + sight.at;
        let b = known.get(id);
        if (b === undefined) known.set(id, (b = between(f, normal, s.poses[p.key]!, s.poses[sight.at]!)));
        fn(p, sight, b);
      }
  }

  /** Every way in which the sight of one key's pieces in one frame may change, with the unknown that does it. */
  private changes(s: BundleState, key: number, at: number): { readonly to: Between; readonly unknown: number }[] {
    const f = Math.exp(s.lnFocal);
    const normal = groundNormal(s.tilt, s.roll);
    const [a, b] = [s.poses[key]!, s.poses[at]!];
    const out = [
      { to: between(f * Math.exp(STEP), normal, a, b), unknown: 0 },
      { to: between(f, groundNormal(s.tilt + STEP, s.roll), a, b), unknown: 1 },
      { to: between(f, groundNormal(s.tilt, s.roll + STEP), a, b), unknown: 2 },
    ];
    const d = new Float64Array(6);
    for (let i = 0; i < 6; i++) {
      d.fill(0);
      d[i] = STEP;
      if (this.offsets[key]! >= 0)
        out.push({ to: between(f, normal, nudged(a, d), b), unknown: this.offsets[key]! + i });
      if (this.offsets[at]! >= 0) out.push({ to: between(f, normal, a, nudged(b, d)), unknown: this.offsets[at]! + i });
    }
    return out;
  }

  /**
   * Normal equations in the unknowns with the points' depths eliminated, what is held left out; and for each point what
   * its depth follows with.
   */
  equations(s: BundleState, sd: number, damp: number): Equations {
    const { n, points } = this;
    const h = new Float64Array(n * n);
    const g = new Float64Array(n);
    const depths: Equations['depths'] = [];
    const ways = new Map<number, { b: Between; changes: ReturnType<Bundle['changes']> }>();
    const f = Math.exp(s.lnFocal);
    const normal = groundNormal(s.tilt, s.roll);
    const spot = new Float64Array(2);
    const cross = new Float64Array(n);
    for (const p of points) {
      let hp = 0;
      let gp = 0;
      cross.fill(0);
      const touched = new Set<number>();
      for (const sight of p.sights) {
        const id = p.key * 1000 + sight.at;
        let way = ways.get(id);
        if (way === undefined) {
          const b = between(f, normal, s.poses[p.key]!, s.poses[sight.at]!);
          ways.set(id, (way = { b, changes: this.changes(s, p.key, sight.at) }));
        }
        place(way.b, p.x, p.y, p.rho, spot);
        const rx = spot[0]! - sight.x;
        const ry = spot[1]! - sight.y;
        const q = Math.hypot(rx, ry) / sd / BEND;
        const w = 1 / (1 + q * q) / (sd * sd);
        let dpx = 0;
        let dpy = 0;
        if (p.rho !== null) {
          place(way.b, p.x, p.y, p.rho + STEP, SPOT);
          dpx = (SPOT[0]! - spot[0]!) / STEP;
          dpy = (SPOT[1]! - spot[1]!) / STEP;
          hp += w * (dpx * dpx + dpy * dpy);
          gp += w * (dpx * rx + dpy * ry);
        }
        const row: { u: number; x: number; y: number }[] = way.changes.map(({ to, unknown }) => {
          place(to, p.x, p.y, p.rho, SPOT);
          return { u: unknown, x: (SPOT[0]! - spot[0]!) / STEP, y: (SPOT[1]! - spot[1]!) / STEP };
        });
        for (const a of row) {
          touched.add(a.u);
          g[a.u] = g[a.u]! + w * (a.x * rx + a.y * ry);
          cross[a.u] = cross[a.u]! + w * (a.x * dpx + a.y * dpy);
          for (const b of row) h[a.u * n + b.u] = h[a.u * n + b.u]! + w * (a.x * b.x + a.y * b.y);
        }
      }
      if (p.rho === null) continue;
      const stiff = hp * (1 + damp) + 1e-9;
      const list = [...touched];
      for (const a of list) {
        g[a] = g[a]! - (cross[a]! * gp) / stiff;
        for (const b of list) h[a * n + b] = h[a * n + b]! - (cross[a]! * cross[b]!) / stiff;
      }
      depths.push({ point: p, stiff, gp, cross: list.map((u) => [u, cross[u]!] as const) });
    }
    return { h, g, depths };
  }
}

const SPOT = new Float64Array(2);

interface Equations {
  readonly h: Float64Array;
  readonly g: Float64Array;
  readonly depths: {
    readonly point: BundlePoint;
    readonly stiff: number;
    readonly gp: number;
    readonly cross: readonly (readonly [number, number])[];
  }[];
}

/** The middle of residual lengths as a sd of one coordinate (Rayleigh's median). */
function sdOf(lengths: readonly number[]): number {
  const sorted = [...lengths].sort((a, b) => a - b);
  return Math.max(LEAST_SD_PX, (sorted[sorted.length >> 1] ?? 1) / 1.1774);
}

/**
 * Adjusts all; `start` and the points' depths are changed in place.
 * @param home which of the poses is the view's frame. Null where the equations are singular.
 */
export function adjustBundle(
  points: readonly BundlePoint[],
  state: BundleState,
  home: number,
  hold: BundleHold,
): BundleAnswer | null {
  const bundle = new Bundle(points, state.poses.length, home, hold);
  const { n } = bundle;
  let damp = 1e-3;
  let sd = sdOf(bundle.lengths(state));
  let cost = bundle.cost(state, sd);
  for (let round = 0; round < ROUNDS; round++) {
    const { h, g, depths } = bundle.equations(state, sd, damp);
    withHold(h, g, n, state, hold);
    for (let i = 0; i < n; i++) h[i * n + i] = h[i * n + i]! * (1 + damp) + 1e-9;
    const l = choleskyFactor(h, n);
    if (l === null) {
      damp *= 10;
      continue;
    }
    const step = solveWithFactor(l, g, n).map((v) => -v);
    const next: BundleState = {
      lnFocal: state.lnFocal + step[0]!,
      tilt: state.tilt + step[1]!,
      roll: state.roll + step[2]!,
      poses: state.poses.map((p, i) => (bundle.offsets[i]! < 0 ? AT_HOME : nudged(p, step, bundle.offsets[i]!))),
    };
    const before = depths.map((d) => d.point.rho!);
    for (const d of depths) {
      let s = d.gp;
      for (const [u, c] of d.cross) s += c * step[u]!;
      d.point.rho = Math.max(0, d.point.rho! - s / d.stiff);
    }
    const then = bundle.cost(next, sd);
    if (!(then < cost)) {
      depths.forEach((d, i) => {
        d.point.rho = before[i]!;
      });
      damp *= 8;
      if (damp > 1e6) break;
      continue;
    }
    const settled = cost - then < 1e-4 * cost;
    Object.assign(state, next);
    damp = Math.max(1e-7, damp / 5);
    sd = sdOf(bundle.lengths(state));
    cost = bundle.cost(state, sd);
    if (settled) break;
  }
  const { h, g } = bundle.equations(state, sd, 0);
  return Number.isFinite(cost) ? { state, information: h, gradient: g, residualPx: sd } : null;
}

function withHold(h: Float64Array, g: Float64Array, n: number, s: BundleState, hold: BundleHold): void {
  [s.lnFocal, s.tilt, s.roll].forEach((v, i) => {
    const w = 1 / hold.sd[i]! ** 2;
    h[i * n + i] = h[i * n + i]! + w;
    g[i] = g[i]! + w * (v - hold.at[i]!);
  });
}

/** The ground's distance and a pose's turn from home: how a look at it is told. */
export function lookFrom(state: BundleState, i: number): { readonly rotation: Mat3; readonly lnHeight: number } {
  const p = state.poses[i]!;
  return {
    rotation: p.r,
    lnHeight: Math.log(Math.max(0.05, movedPlane(groundNormal(state.tilt, state.roll), 1, p).d)),
  };
}

/**
 * Covariance of (ln focal length, tilt, roll, then of each look its turn and ln height) from the bundle's information,
 * row-major, and how far beside the solution the pieces by themselves would have them; null where that is singular.
 *
 * @param looks places among the poses
 * @param times the residuals' variance is taken as so many times what it seems
 * @param lensGiven the lens is not told: all is told for the one that was given, and of it next to nothing
 * @param scaleSd sd of the ln of the way's length, known beforehand
 */
export function tellLooks(
  { state, information, gradient }: BundleAnswer,
  home: number,
  looks: readonly number[],
  { times, scaleSd, lensGiven }: { readonly times: number; readonly scaleSd: number; readonly lensGiven: boolean },
): { readonly covariance: Float64Array; readonly beside: Float64Array } | null {
  const n = GLOBALS + 6 * (state.poses.length - 1);
  const m = GLOBALS + 4 * looks.length;
  const h = information.map((v) => v / times);
  // Next to nothing, so that what the pieces leave untold has a large doubt in place of none.
  for (let i = 0; i < n; i++) h[i * n + i] = h[i * n + i]! + (i < GLOBALS ? 1 : 1e-2);
  if (lensGiven) h[0] = GIVEN;
  // The way's length in camera heights, as far as the ground's pieces do not tell it: ln of its root mean square.
  const squares = state.poses.reduce((a, p) => a + p.t[0] ** 2 + p.t[1] ** 2 + p.t[2] ** 2, 0);
  const along = new Float64Array(n);
  state.poses.forEach((p, k) => {
    if (k === home) return;
    const at = GLOBALS + 6 * (k < home ? k : k - 1) + 3;
    for (let i = 0; i < 3; i++) along[at + i] = p.t[i]! / Math.max(1e-9, squares) / scaleSd;
  });
  for (let i = 0; i < n; i++) for (let j = 0; j < n; j++) h[i * n + j] = h[i * n + j]! + along[i]! * along[j]!;
  const l = choleskyFactor(h, n);
  if (l === null) return null;
  const rows = new Float64Array(m * n);
  for (let i = 0; i < GLOBALS; i++) rows[i * n + i] = 1;
  looks.forEach((k, j) => {
    const at = GLOBALS + 6 * (k < home ? k : k - 1);
    const row = GLOBALS + 4 * j;
    for (let i = 0; i < 3; i++) rows[(row + i) * n + at + i] = 1;
    const base = lookFrom(state, k).lnHeight;
    const slope = (s: BundleState): number => (lookFrom(s, k).lnHeight - base) / STEP;
    const last = (row + 3) * n;
    rows[last + 1] = slope({ ...state, tilt: state.tilt + STEP });
    rows[last + 2] = slope({ ...state, roll: state.roll + STEP });
    const d = new Float64Array(6);
    for (let i = 0; i < 6; i++) {
      d.fill(0);
      d[i] = STEP;
      rows[last + at + i] = slope({ ...state, poses: state.poses.map((p, q) => (q === k ? nudged(p, d) : p)) });
    }
  });
  const out = new Float64Array(m * m);
  for (let a = 0; a < m; a++) {
    const x = solveWithFactor(l, rows.subarray(a * n, (a + 1) * n), n);
    for (let b = 0; b < m; b++) {
      let s = 0;
      for (let i = 0; i < n; i++) s += x[i]! * rows[b * n + i]!;
      out[b * m + a] = s;
    }
  }
  const pull = solveWithFactor(
    l,
    gradient.map((v) => -v / times),
    n,
  );
  const beside = Float64Array.from({ length: m }, (_, a) => {
    let s = 0;
    for (let i = 0; i < n; i++) s += rows[a * n + i]! * pull[i]!;
    return s;
  });
  if (lensGiven) {
    for (let i = 0; i < m; i++) {
      out[i] = 0;
      out[i * m] = 0;
    }
    out[0] = 1;
    beside[0] = 0;
  }
  return { covariance: out, beside };
}

/** Where a point stands in the view's camera, camera heights; null where it is too far to say. */
export function standsAt({ lnFocal, poses }: BundleState, p: BundlePoint): Vec3 | null {
  if (p.rho === null || p.rho < 1e-3) return null;
  const f = Math.exp(lnFocal);
  const back = inversePose(poses[p.key]!);
  const v = applyVector(back.r, [p.x / f / p.rho, p.y / f / p.rho, 1 / p.rho]);
  return [v[0] + back.t[0], v[1] + back.t[1], v[2] + back.t[2]];
}

/** A pose of the view's frame from one of the first frame. */
export function fromHome(pose: Pose, home: Pose): Pose {
  return chain(pose, inversePose(home));
}
