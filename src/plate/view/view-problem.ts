/**
 * The view as a nonlinear least-squares problem: one pinhole over flat ground, and for each observation the place of
 * the thing seen as nuisance unknowns, so that every mark enters with its own noise (maximum likelihood; Hartley &
 * Zisserman, *Multiple View Geometry*, 2nd ed., section 5.2 and appendix 6; single view geometry after Criminisi, Reid
 * & Zisserman, *Single View Metrology*, IJCV 40(2), 2000).
 *
 * Unknowns: θ = (ln focal px, tilt rad, roll rad, ln camera height m), then per upright bearing and ln distance (and ln
 * height where not known; one set for a thing that is seen on several frames), per family of ground lines one
 * direction, per rectangle place, direction and sides (view-layout.ts); of a travelling camera its looks besides
 * (view-looks.ts). Residuals are in units of their standard deviation.
 */
import { A_LOOK, layOut, type Layout } from './view-layout.js';
import { looksResiduals, setLook } from './view-looks.js';
import type { ViewObservation } from './view-observations.js';
import { emptyCamera, lineResidual, setCamera, type Cam } from './view-pinhole.js';
import {
  floorResiduals,
  horizonResiduals,
  sightResidual,
  uprightResiduals,
  wallResiduals,
  type Evaluation,
} from './view-residuals.js';
import { choleskyFactor } from '../../geometry/linear-solve.js';
import type { GroundLooks } from './ground-looks.js';
import { startFloor, startUpright, startWall, toGround } from './view-start.js';

/** Weak knowledge that keeps an under-determined view finite; each is shown as prior-led where it decides. */
export interface ViewPriors {
  /** Horizontal field of view, log-normal: median degrees and sd of its logarithm. */
  readonly fieldOfView: { readonly medianDeg: number; readonly lnSd: number };
  /** Normal; tilt above the horizontal is positive. */
  readonly tilt: { readonly meanDeg: number; readonly sdDeg: number };
  readonly roll: { readonly meanDeg: number; readonly sdDeg: number };
  /** Log-normal. */
  readonly cameraHeight: { readonly medianM: number; readonly lnSd: number };
  /**
   * Known beforehand (the studio's own lens, a self-calibrated pan): value and relative sd. Replaces the lens prior.
   */
  readonly focal?: {
    readonly px: number;
    readonly relativeSd: number;
    /** What the file says, where it is the one that tells. */
    readonly saidByFile?: string;
  };
  readonly height?: { readonly m: number; readonly relativeSd: number };
}

/**
 * Common practice, no source: feature-film framings lie mostly between a 70 degree and a 15 degree field; cameras are
 * held nearly level and between knee and crane; phones between 55 and 70 degrees fall inside the same curve.
 */
export const DEFAULT_PRIORS: ViewPriors = {
  fieldOfView: { medianDeg: 40, lnSd: 0.4 },
  tilt: { meanDeg: -4, sdDeg: 12 },
  roll: { meanDeg: 0, sdDeg: 2.5 },
  cameraHeight: { medianM: 1.4, lnSd: 0.7 },
};

/** Residuals that the priors add: one for each part of θ. */
const PRIOR_RESIDUALS = 4;
const RAD = Math.PI / 180;

export interface ViewProblem {
  readonly parameterCount: number;
  readonly residualCount: number;
  /** Number of residuals that come from marks, not from priors. */
  readonly dataResiduals: number;
  readonly residuals: (p: Float64Array, out: Float64Array) => void;
  /** Full start vector for a start of θ. */
  readonly start: (theta: readonly [number, number, number, number]) => Float64Array;
}

/** Residuals of one observation from `k` on; the next free place. */
function observationResiduals(e: Evaluation, layout: Layout, o: ViewObservation, i: number, k: number): number {
  const at = layout.offsets[i]!;
  switch (o.kind) {
    case 'upright':
      return uprightResiduals(e, o, at, k, o.alike === undefined ? -1 : layout.alikeAt.get(o.alike)!);
    case 'groundLine': {
      const phi = e.p[layout.groupAt.get(o.group)!]!;
      e.out[k] = lineResidual(e.cam, o.a, o.b, Math.sin(phi), 0, Math.cos(phi), o.sdPx, 0);
      return k + 1;
    }
    case 'vertical':
      e.out[k] = lineResidual(e.cam, o.a, o.b, 0, 1, 0, o.sdPx, o.angleSd);
      return k + 1;
    case 'horizon':
      return horizonResiduals(e, o, k);
    case 'sight':
      e.out[k] = sightResidual(e, o);
      return k + 1;
    case 'rectangle': {
      const wall = layout.walls[i];
      return wall ? wallResiduals(e, o, wall, at, k) : floorResiduals(e, o, at, k);
    }
  }
}

/** The four priors of θ, from `k` on. */
function priorResiduals(e: Evaluation, priors: ViewPriors, widthPx: number, k: number): void {
  const { p, out, cam } = e;
  const lnFov = Math.log(priors.fieldOfView.medianDeg * RAD);
  out[k] = priors.focal
    ? (p[0]! - Math.log(priors.focal.px)) / priors.focal.relativeSd
    : (Math.log(2 * Math.atan(widthPx / (2 * cam.f))) - lnFov) / priors.fieldOfView.lnSd;
  out[k + 1] = (p[1]! - priors.tilt.meanDeg * RAD) / (priors.tilt.sdDeg * RAD);
  out[k + 2] = (p[2]! - priors.roll.meanDeg * RAD) / (priors.roll.sdDeg * RAD);
  out[k + 3] = priors.height
    ? (p[3]! - Math.log(priors.height.m)) / priors.height.relativeSd
    : (p[3]! - Math.log(priors.cameraHeight.medianM)) / priors.cameraHeight.lnSd;
}

/** The nuisance unknowns that a camera makes of the marks, written into `p` behind its θ. */
function startUnknowns(
  camOf: (o: ViewObservation) => Cam,
  observations: readonly ViewObservation[],
  layout: Layout,
  p: Float64Array,
): void {
  for (const [g, at] of layout.groupAt) {
    const first = observations.find((o) => o.kind === 'groundLine' && o.group === g);
    if (first?.kind !== 'groundLine') continue;
    const c = camOf(first);
    const [x0, z0] = toGround(c, first.a[0], first.a[1]);
    const [x1, z1] = toGround(c, first.b[0], first.b[1]);
    p[at] = Math.atan2(x1 - x0, z1 - z0);
  }
  observations.forEach((o, i) => {
    const at = layout.offsets[i]!;
    if (layout.offsets.indexOf(at) < i) return;
    const c = camOf(o);
    if (o.kind === 'upright') startUpright(c, o, p, at);
    else if (o.kind === 'rectangle') {
      const wall = layout.walls[i];
      if (wall) startWall(c, o, wall, p, at);
      else startFloor(c, o, p, at);
    }
  });
}

/** Lengths of a way that are begun from, of what it has by itself. */
const SCALES = [0.25, 0.4, 0.63, 1, 1.6, 2.5, 4];

/** The length of the way at which the marks are left least, written into `p`. */
function startScale(
  problem: Pick<ViewProblem, 'residuals' | 'residualCount'>,
  { scaleAt }: Layout,
  p: Float64Array,
): void {
  const out = new Float64Array(problem.residualCount);
  // Far off, one mark would outvote all.
  const cost = SCALES.map((scale) => {
    p[scaleAt] = Math.log(scale);
    problem.residuals(p, out);
    return out.reduce((sum, r) => sum + Math.log1p(r * r), 0);
  });
  p[scaleAt] = Math.log(SCALES[cost.indexOf(Math.min(...cost))]!);
}

/**
 * Builds the problem for a picture of widthPx × heightPx.
 * @param looks what the way of a travelling camera tells of lens, ground and the frames that observations are seen on
 */
export function viewProblem(
  observations: readonly ViewObservation[],
  priors: ViewPriors,
  widthPx: number,
  heightPx: number,
  looks?: GroundLooks,
): ViewProblem {
  const layout = layOut(observations, looks);
  const wayCount = 3 + A_LOOK * (looks?.looks.length ?? 0);
  const root = looks === undefined ? null : choleskyFactor(looks.covariance, wayCount);
  const firstLook = layout.unknowns + 3 - wayCount;
  const shared = { p: new Float64Array(0), out: new Float64Array(0), point: new Float64Array(2) };
  const e: Evaluation = { cam: emptyCamera(), ...shared };
  const others = new Map(
    (looks?.looks ?? []).map((look) => [look.frame, { look, e: { cam: emptyCamera(), ...shared } as Evaluation }]),
  );
  const set = (p: Float64Array): void => {
    setCamera(p, widthPx, heightPx, e.cam);
    for (const o of others.values()) setLook(p, e.cam, o.look, layout, o.e.cam);
  };
  const of = (o: ViewObservation): Evaluation => (o.look === undefined ? e : others.get(o.look)!.e);
  return {
    parameterCount: layout.unknowns,
    residualCount: layout.dataResiduals + PRIOR_RESIDUALS + layout.ties.length + (root === null ? 0 : wayCount),
    dataResiduals: layout.dataResiduals,
    residuals(p, out) {
      set(p);
      for (const one of [e, ...[...others.values()].map((x) => x.e)]) {
        one.p = p;
        one.out = out;
      }
      let k = 0;
      for (let i = 0; i < observations.length; i++) {
        const o = observations[i]!;
        k = observationResiduals(of(o), layout, o, i, k);
      }
      priorResiduals(e, priors, widthPx, k);
      k += PRIOR_RESIDUALS;
      for (const t of layout.ties) out[k++] = (p[t.at]! - t.mean) / t.sd;
      if (looks !== undefined && root !== null) looksResiduals(p, looks, root, firstLook, out, k);
    },
    start(theta) {
      const p = new Float64Array(layout.unknowns);
      p.set(theta);
      set(p);
      startUnknowns((o) => of(o).cam, observations, layout, p);
      if (layout.scaleAt >= 0) startScale(this, layout, p);
      return p;
    },
  };
}
