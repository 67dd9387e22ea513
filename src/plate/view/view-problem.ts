/**
 * The view as a nonlinear least-squares problem: one pinhole over flat ground, and for each observation the place of
 * the thing seen as nuisance unknowns, so that every mark enters with its own noise (maximum likelihood; Hartley &
 * Zisserman, *Multiple View Geometry*, 2nd ed., section 5.2 and appendix 6; single view geometry after Criminisi, Reid
 * & Zisserman, *Single View Metrology*, IJCV 40(2), 2000).
 *
 * Unknowns: θ = (ln focal px, tilt rad, roll rad, ln camera height m), then per upright bearing and ln distance (and ln
 * height where not known; one set for a thing that is seen on several frames), per family of ground lines one direction, per rectangle place, direction and sides.
 * Residuals are in units of their standard deviation.
 */
import { orderWallCorners, type ViewObservation } from './view-observations.js';
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
import { multiply } from '../../geometry/mat3.js';
import { rotationFromVector } from '../../geometry/rotation.js';
import type { GroundLook, GroundLooks } from './ground-looks.js';
import { startFloor, startUpright, startWall, toGround } from './view-start.js';

/** Weak knowledge that keeps an under-determined view finite; each is shown as prior-led where it decides. */
export interface ViewPriors {
  /** Horizontal field of view, log-normal: median degrees and sd of its logarithm. */
  readonly fieldOfView: { readonly medianDeg: number; readonly lnSd: number };
  readonly tilt: { readonly meanDeg: number; readonly sdDeg: number };
  readonly roll: { readonly meanDeg: number; readonly sdDeg: number };
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

/** Number of nuisance unknowns of an observation. */
function nuisance(o: ViewObservation): number {
  switch (o.kind) {
    case 'upright':
      return o.height === null ? 3 : 2;
    case 'rectangle':
      return o.plane === 'ground' ? 5 : 6;
    default:
      return 0;
  }
}
function residualsOf(o: ViewObservation): number {
  switch (o.kind) {
    // Ends, and the height itself as an observation (its sd enters the top's own residual otherwise wrongly).
    case 'upright':
      return 4;
    case 'rectangle':
      return 8 + (o.width === null ? 0 : 1) + (o.depth === null ? 0 : 1);
    case 'horizon':
      return 2;
    default:
      return 1;
  }
}

/** Where the unknowns of each observation stand in the vector, and what belongs to them. */
interface Layout {
  readonly unknowns: number;
  /** Residuals that come from marks. */
  readonly dataResiduals: number;
  /** The first nuisance unknown of each observation. */
  readonly offsets: readonly number[];
  /** The direction of each family of ground lines. */
  readonly groupAt: ReadonlyMap<number, number>;
  /** Ln of what heights typed once are off by, by their name. */
  readonly alikeAt: ReadonlyMap<string, number>;
  /** Ln of the length of all looks' shifts, where it is open; else −1. */
  readonly scaleAt: number;
  /** The first of the six unknowns of each look from another frame: a small turn, a shift. */
  readonly lookAt: ReadonlyMap<number, number>;
  /** Corners in order, of observations that are rectangles on a wall. */
  readonly walls: readonly (WallCorners | null)[];
  /** One weak tie for every nuisance unknown that nothing else might hold: a wall's distance, a free height. */
  readonly ties: readonly { readonly at: number; readonly mean: number; readonly sd: number }[];
}

type WallCorners = ReturnType<typeof orderWallCorners>;

function layOut(observations: readonly ViewObservation[], way: GroundLooks | undefined): Layout {
  const looks = way?.looks ?? [];
  const groups = [...new Set(observations.filter((o) => o.kind === 'groundLine').map((o) => o.group))];
  const offsets: number[] = [];
  const ties: { at: number; mean: number; sd: number }[] = [];
  let unknowns = 4 + groups.length;
  let dataResiduals = 0;
  const placeAt = new Map<string, number>();
  for (const o of observations) {
    const known = o.kind === 'upright' && o.place !== undefined ? placeAt.get(o.place) : undefined;
    const at = known ?? unknowns;
    offsets.push(at);
    if (known !== undefined) {
      dataResiduals += residualsOf(o);
      continue;
    }
    if (o.kind === 'upright' && o.place !== undefined) placeAt.set(o.place, at);
    if (o.kind === 'upright' && o.height === null) ties.push({ at: at + 2, mean: Math.log(1.5), sd: 1.5 });
    if (o.kind === 'rectangle' && o.plane === 'wall') ties.push({ at: at + 2, mean: Math.log(5), sd: 3 });
    unknowns += nuisance(o);
    dataResiduals += residualsOf(o);
  }
  const alikeAt = new Map<string, number>();
  for (const o of observations) {
    if (o.kind !== 'upright' || o.alike === undefined || alikeAt.has(o.alike)) continue;
    alikeAt.set(o.alike, unknowns);
    ties.push({ at: unknowns++, mean: 0, sd: o.heightSd });
  }
  let scaleAt = -1;
  if (way !== undefined && way.scaleSd > 0) {
    scaleAt = unknowns++;
    ties.push({ at: scaleAt, mean: 0, sd: way.scaleSd });
  }
  const lookAt = new Map(looks.map((l, i) => [l.frame, unknowns + A_LOOK * i]));
  unknowns += A_LOOK * looks.length;
  return {
    unknowns,
    dataResiduals,
    offsets,
    alikeAt,
    scaleAt,
    lookAt,
    groupAt: new Map(groups.map((g, i) => [g, 4 + i])),
    walls: observations.map((o) => (o.kind === 'rectangle' && o.plane === 'wall' ? orderWallCorners(o.corners) : null)),
    ties,
  };
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

/** Unknowns of a look: a small turn on its left, what its shift is off by. */
const A_LOOK = 6;

/** The camera of a look from another frame: turned and moved from the view's. */
function setLook(p: Float64Array, view: Cam, look: GroundLook, { lookAt, scaleAt }: Layout, out: Cam): void {
  const at = lookAt.get(look.frame)!;
  const turn = multiply(rotationFromVector([p[at]!, p[at + 1]!, p[at + 2]!]), look.rotation);
  out.f = view.f;
  out.cx = view.cx;
  out.cy = view.cy;
  for (let i = 0; i < 3; i++)
    for (let j = 0; j < 3; j++)
      out.r[3 * i + j] =
        turn[3 * i]! * view.r[j]! + turn[3 * i + 1]! * view.r[3 + j]! + turn[3 * i + 2]! * view.r[6 + j]!;
  // It stands where its own coordinates are nought.
  const metres = view.h * (scaleAt < 0 ? 1 : Math.exp(p[scaleAt]!));
  const [a, b, c] = look.shift.map((v, i) => -metres * (v + p[at + 3 + i]!)) as [number, number, number];
  const r = out.r;
  out.x = r[0]! * a + r[3]! * b + r[6]! * c;
  out.h = Math.max(0.05 * view.h, view.h + r[1]! * a + r[4]! * b + r[7]! * c);
  out.z = r[2]! * a + r[5]! * b + r[8]! * c;
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

/** What the looks are off by from what the way tells of them, in its own standard deviations. */
function looksResiduals(
  p: Float64Array,
  looks: GroundLooks,
  root: Float64Array,
  first: number,
  out: Float64Array,
  from: number,
): void {
  const m = 3 + A_LOOK * looks.looks.length;
  const off = (i: number): number =>
    i >= 3 ? p[first + i - 3]! : p[i]! - (i === 0 ? looks.lnFocal : i === 1 ? looks.tilt : looks.roll);
  // Solves L x = off for the factor L of the covariance.
  for (let i = 0; i < m; i++) {
    let s = off(i) - looks.beside[i]!;
    for (let k = 0; k < i; k++) s -= root[i * m + k]! * out[from + k]!;
    out[from + i] = s / root[i * m + i]!;
  }
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
