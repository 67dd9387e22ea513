/**
 * The view as a nonlinear least-squares problem: one pinhole over flat ground, and for each observation the place of
 * the thing seen as nuisance unknowns, so that every mark enters with its own noise (maximum likelihood; Hartley &
 * Zisserman, *Multiple View Geometry*, 2nd ed., section 5.2 and appendix 6; single view geometry after Criminisi, Reid
 * & Zisserman, *Single View Metrology*, IJCV 40(2), 2000).
 *
 * Unknowns: θ = (ln focal px, tilt rad, roll rad, ln camera height m), then per upright bearing and ln distance (and ln
 * height where not known), per family of ground lines one direction, per rectangle place, direction and sides.
 * Residuals are in units of their standard deviation.
 */
import { orderWallCorners, type ViewObservation } from './view-observations.js';
import type { Point } from './marks.js';
import { camera, lineResidual, projectTo, wallDirection, type Cam } from './view-pinhole.js';

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
  readonly focal?: { readonly px: number; readonly relativeSd: number };
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

export const PRIOR_RESIDUALS = 4;
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

/** Builds the problem for a picture of widthPx × heightPx. */
export function viewProblem(
  observations: readonly ViewObservation[],
  priors: ViewPriors,
  widthPx: number,
  heightPx: number,
): ViewProblem {
  const groups = [...new Set(observations.filter((o) => o.kind === 'groundLine').map((o) => o.group))];
  const groupAt = new Map(groups.map((g, i) => [g, 4 + i]));
  const offsets: number[] = [];
  let n = 4 + groups.length;
  let data = 0;
  const wall = observations.map((o) =>
    o.kind === 'rectangle' && o.plane === 'wall' ? orderWallCorners(o.corners) : null,
  );
  for (const o of observations) {
    offsets.push(n);
    n += nuisance(o);
    data += residualsOf(o);
  }
  // One weak tie for every nuisance unknown that nothing else might hold (a wall's distance, an upright's free height).
  const ties: { at: number; mean: number; sd: number }[] = [];
  observations.forEach((o, i) => {
    const at = offsets[i]!;
    if (o.kind === 'upright' && o.height === null) ties.push({ at: at + 2, mean: Math.log(1.5), sd: 1.5 });
    if (o.kind === 'rectangle' && o.plane === 'wall') ties.push({ at: at + 2, mean: Math.log(5), sd: 3 });
  });
  const cam: Cam = { f: 1, h: 1, cx: 0, cy: 0, r: new Float64Array(9) };
  const lnFov = Math.log(priors.fieldOfView.medianDeg * RAD);
  const ground = new Float64Array(2);
  const point = new Float64Array(2);

  const residuals = (p: Float64Array, out: Float64Array): void => {
    const c = camera(p, widthPx, heightPx, cam);
    let k = 0;
    for (let i = 0; i < observations.length; i++) {
      const o = observations[i]!;
      const at = offsets[i]!;
      switch (o.kind) {
        case 'upright': {
          const d = Math.exp(p[at + 1]!);
          const x = d * Math.sin(p[at]!);
          const z = d * Math.cos(p[at]!);
          projectTo(c, x, 0, z, point);
          out[k++] = (o.foot[0] - point[0]!) / o.sdPx;
          out[k++] = (o.foot[1] - point[1]!) / o.sdPx;
          const h = o.height ?? Math.exp(p[at + 2]!);
          projectTo(c, x, h, z, point);
          const ex = o.top[0] - point[0]!;
          const ey = o.top[1] - point[1]!;
          // Along the upright the height's own sd counts, across it the lean's.
          const ux = o.top[0] - o.foot[0];
          const uy = o.top[1] - o.foot[1];
          const len = Math.max(1e-6, Math.hypot(ux, uy));
          const along = (ex * ux + ey * uy) / len;
          const across = (ex * uy - ey * ux) / len;
          out[k++] = along / Math.hypot(o.sdPx, o.height === null ? 0 : o.heightSd * len);
          out[k++] = across / Math.hypot(o.sdPx, o.leanSd * len);
          break;
        }
        case 'groundLine': {
          const phi = p[groupAt.get(o.group)!]!;
          out[k++] = lineResidual(c, o.a, o.b, Math.sin(phi), 0, Math.cos(phi), o.sdPx, 0);
          break;
        }
        case 'vertical':
          out[k++] = lineResidual(c, o.a, o.b, 0, 1, 0, o.sdPx, o.angleSd);
          break;
        case 'horizon': {
          // Level rays: d · up = 0; the signed distance in pixels.
          const a = -c.r[1]! / c.f;
          const b = -c.r[4]! / c.f;
          const k0 = -(c.r[7]! - (c.r[1]! * c.cx + c.r[4]! * c.cy) / c.f);
          const m = Math.hypot(a, b);
          out[k++] = (a * o.a[0] + b * o.a[1] + k0) / (m * o.sdPx);
          out[k++] = (a * o.b[0] + b * o.b[1] + k0) / (m * o.sdPx);
          break;
        }
        case 'rectangle': {
          const w = wall[i];
          const d = Math.exp(p[at + 2]!);
          if (w) {
            // Centre by bearing, elevation above the camera's level, distance; then
            // direction of the wall and its sides.
            const ce = Math.cos(p[at + 1]!);
            const x = d * ce * Math.sin(p[at]!);
            const z = d * ce * Math.cos(p[at]!);
            const y = c.h + d * Math.sin(p[at + 1]!);
            const ex = (Math.cos(p[at + 3]!) * Math.exp(p[at + 4]!)) / 2;
            const ez = (Math.sin(p[at + 3]!) * Math.exp(p[at + 4]!)) / 2;
            const ey = Math.exp(p[at + 5]!) / 2;
            for (let q = 0; q < 4; q++) {
              const sx = q === 1 || q === 2 ? 1 : -1;
              const sy = q < 2 ? 1 : -1;
              projectTo(c, x + sx * ex, y + sy * ey, z + sx * ez, point);
              out[k++] = (w[q]![0] - point[0]!) / o.sdPx;
              out[k++] = (w[q]![1] - point[1]!) / o.sdPx;
            }
            if (o.width !== null) out[k++] = (p[at + 4]! - Math.log(o.width)) / 0.01;
            if (o.depth !== null) out[k++] = (p[at + 5]! - Math.log(o.depth)) / 0.01;
          } else {
            const dist = Math.exp(p[at + 1]!);
            const x = dist * Math.sin(p[at]!);
            const z = dist * Math.cos(p[at]!);
            const cphi = Math.cos(p[at + 2]!);
            const sphi = Math.sin(p[at + 2]!);
            const hw = Math.exp(p[at + 3]!) / 2;
            const hd = Math.exp(p[at + 4]!) / 2;
            const sense = imageSense(o.corners);
            for (let q = 0; q < 4; q++) {
              const sx = (q === 1 || q === 2 ? 1 : -1) * hw;
              const sd = (q < 2 ? -1 : 1) * hd * sense;
              projectTo(c, x + sx * cphi - sd * sphi, 0, z + sx * sphi + sd * cphi, point);
              out[k++] = (o.corners[q]![0] - point[0]!) / o.sdPx;
              out[k++] = (o.corners[q]![1] - point[1]!) / o.sdPx;
            }
            if (o.width !== null) out[k++] = (p[at + 3]! - Math.log(o.width)) / 0.01;
            if (o.depth !== null) out[k++] = (p[at + 4]! - Math.log(o.depth)) / 0.01;
          }
          break;
        }
      }
    }
    if (priors.focal) out[k++] = (p[0]! - Math.log(priors.focal.px)) / priors.focal.relativeSd;
    else out[k++] = (Math.log(2 * Math.atan(widthPx / (2 * cam.f))) - lnFov) / priors.fieldOfView.lnSd;
    out[k++] = (p[1]! - priors.tilt.meanDeg * RAD) / (priors.tilt.sdDeg * RAD);
    out[k++] = (p[2]! - priors.roll.meanDeg * RAD) / (priors.roll.sdDeg * RAD);
    if (priors.height) out[k++] = (p[3]! - Math.log(priors.height.m)) / priors.height.relativeSd;
    else out[k++] = (p[3]! - Math.log(priors.cameraHeight.medianM)) / priors.cameraHeight.lnSd;
    for (const t of ties) out[k++] = (p[t.at]! - t.mean) / t.sd;
  };

  /** Ground point under `c` of a pixel, or a far point in its direction where it lies above the horizon. */
  const toGround = (c: Cam, x: number, y: number): void => {
    const u = (x - c.cx) / c.f;
    const v = (y - c.cy) / c.f;
    const r = c.r;
    const dx = r[0]! * u + r[3]! * v + r[6]!;
    const dy = r[1]! * u + r[4]! * v + r[7]!;
    const dz = r[2]! * u + r[5]! * v + r[8]!;
    const s = dy < -1e-3 ? -c.h / dy : 1000 * c.h;
    ground[0] = dx * s;
    ground[1] = dz * s;
  };

  const start = (theta: readonly [number, number, number, number]): Float64Array => {
    const p = new Float64Array(n);
    p.set(theta);
    const c = camera(p, widthPx, heightPx, { f: 1, h: 1, cx: 0, cy: 0, r: new Float64Array(9) });
    for (const g of groups) {
      const first = observations.find((o) => o.kind === 'groundLine' && o.group === g);
      if (first?.kind !== 'groundLine') continue;
      toGround(c, first.a[0], first.a[1]);
      const x0 = ground[0]!;
      const z0 = ground[1]!;
      toGround(c, first.b[0], first.b[1]);
      p[groupAt.get(g)!] = Math.atan2(ground[0]! - x0, ground[1]! - z0);
    }
    observations.forEach((o, i) => {
      const at = offsets[i]!;
      if (o.kind === 'upright') {
        toGround(c, o.foot[0], o.foot[1]);
        const seen = Math.max(2, Math.hypot(o.top[0] - o.foot[0], o.top[1] - o.foot[1]));
        const bySize = o.height === null ? Math.hypot(ground[0]!, ground[1]!) : (c.f * o.height) / seen;
        p[at] = Math.atan2(ground[0]!, Math.max(1e-6, ground[1]!));
        p[at + 1] = Math.log(Math.min(1e4, Math.max(0.05, bySize)));
        if (o.height === null) p[at + 2] = Math.log((seen * bySize) / c.f);
      } else if (o.kind === 'rectangle') {
        const w = wall[i];
        const q = w ?? o.corners;
        const mx = (q[0][0] + q[1][0] + q[2][0] + q[3][0]) / 4;
        const my = (q[0][1] + q[1][1] + q[2][1] + q[3][1]) / 4;
        const u = (mx - c.cx) / c.f;
        const v = (my - c.cy) / c.f;
        const r = c.r;
        const dx = r[0]! * u + r[3]! * v + r[6]!;
        const dy = r[1]! * u + r[4]! * v + r[7]!;
        const dz = r[2]! * u + r[5]! * v + r[8]!;
        if (w) {
          const side =
            (Math.hypot(w[1][0] - w[0][0], w[1][1] - w[0][1]) + Math.hypot(w[2][0] - w[3][0], w[2][1] - w[3][1])) / 2;
          const rise =
            (Math.hypot(w[2][0] - w[1][0], w[2][1] - w[1][1]) + Math.hypot(w[3][0] - w[0][0], w[3][1] - w[0][1])) / 2;
          const d = o.depth !== null ? (c.f * o.depth) / rise : o.width !== null ? (c.f * o.width) / side : 5;
          p[at] = Math.atan2(dx, dz);
          p[at + 1] = Math.atan2(dy, Math.hypot(dx, dz));
          p[at + 2] = Math.log(d);
          p[at + 3] = wallDirection(c, w);
          p[at + 4] = Math.log(o.width ?? (side * d) / c.f / Math.max(0.2, Math.cos(p[at + 3]!)));
          p[at + 5] = Math.log(o.depth ?? (rise * d) / c.f);
        } else {
          const g: [number, number][] = q.map((corner) => {
            toGround(c, corner[0], corner[1]);
            return [ground[0]!, ground[1]!];
          });
          const gx = (g[0]![0] + g[1]![0] + g[2]![0] + g[3]![0]) / 4;
          const gz = (g[0]![1] + g[1]![1] + g[2]![1] + g[3]![1]) / 4;
          p[at] = Math.atan2(gx, Math.max(1e-6, gz));
          p[at + 1] = Math.log(Math.min(1e4, Math.max(0.05, Math.hypot(gx, gz))));
          p[at + 2] = Math.atan2(g[1]![1] - g[0]![1], g[1]![0] - g[0]![0]);
          p[at + 3] = Math.log(Math.max(1e-3, Math.hypot(g[1]![0] - g[0]![0], g[1]![1] - g[0]![1])));
          p[at + 4] = Math.log(Math.max(1e-3, Math.hypot(g[2]![0] - g[1]![0], g[2]![1] - g[1]![1])));
        }
      }
    });
    return p;
  };

  return {
    parameterCount: n,
    residualCount: data + PRIOR_RESIDUALS + ties.length,
    dataResiduals: data,
    residuals,
    start,
  };
}

/** +1 where a lying rectangle's corners run counter-clockwise in ground coordinates (x right, z away), else −1. */
function imageSense(c: readonly [Point, Point, Point, Point]): 1 | -1 {
  let area = 0;
  for (let i = 0; i < 4; i++) {
    const a = c[i]!;
    const b = c[(i + 1) % 4]!;
    area += a[0] * b[1] - b[0] * a[1];
  }
  // The picture's y points down and z away is up in the picture, so the sense turns over.
  return area < 0 ? 1 : -1;
}
