/**
 * The bundle of a travelling camera as normal equations, the points' depths eliminated (travel-bundle.ts solves them).
 *
 * Unknowns: ln focal length, tilt and roll of the view (rad), six of each pose (a turn on its left, a shift). The
 * view's frame is at home.
 */
import { applyVector, multiply, type Mat3, type Vec3 } from '../../geometry/mat3.js';
import { rotationFromVector } from '../../geometry/rotation.js';
import { emptyCamera, setCamera } from '../view/view-pinhole.js';
import { chain, inversePose, movedPlane, type Pose } from './travel-pose.js';

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

/** Unknowns before those of the poses. */
export const GLOBALS = 3;
/** Residuals bend over beyond so many sds (Cauchy's loss). */
const BEND = 2.5;
/** Of numeric differences. */
export const STEP = 1e-5;

/** The ground's normal, down, as a camera of this tilt and roll sees it. */
export function groundNormal(tilt: number, roll: number): Vec3 {
  const { r } = setCamera([0, tilt, roll, 0], 0, 0, emptyCamera());
  return [-r[1]!, -r[4]!, -r[7]!];
}

/** A pose turned and shifted by six small numbers. */
export function nudged(p: Pose, d: ArrayLike<number>, from = 0): Pose {
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
export class Bundle {
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
