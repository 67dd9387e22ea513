/**
 * Lens, lie of the ground and poses of a travelling camera adjusted together over the pieces that were followed, in
 * heights of the camera over the ground at the view's frame (bundle adjustment with the points' depths eliminated:
 * Triggs, McLauchlan, Hartley & Fitzgibbon, *Bundle Adjustment: A Modern Synthesis*, LNCS 1883, 2000, sections 3 and 6;
 * damping after Marquardt 1963). Pieces on the ground have no depth of their own: the ground's lie gives it.
 * Answers the solution with its information, which is what the marks of a view are then joined with.
 */
import { choleskyFactor, solveWithFactor } from '../../geometry/linear-solve.js';
import { Bundle, nudged, type BundleHold, type BundlePoint, type BundleState } from './bundle-equations.js';
import { AT_HOME } from './travel-pose.js';

export interface BundleAnswer {
  readonly state: BundleState;
  /** Normal equations of the unknowns without what was held, n × n; one residual's variance is in it. */
  readonly information: Float64Array;
  /** Their right side: not nothing, as what is held pulls at the solution. */
  readonly gradient: Float64Array;
  /** Robust sd of a coordinate, px. */
  readonly residualPx: number;
}

const ROUNDS = 12;
const LEAST_SD_PX = 0.08;

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
