/**
 * Numbers derived from a view, each with the view's whole covariance and the pixel noise of the points it uses carried
 * through by the delta method (first-order propagation, central differences).
 */
import { DEG_PER_RAD } from '../../core/angles.js';
import { groundCamera, groundPoint, project, unproject, type Pinhole } from '../../geometry/camera.js';
import type { View } from '../types.js';

export interface Derived {
  readonly value: number;
  readonly sd: number;
}

/**
 * The view's pinhole, with the world's origin on the ground below the camera. Where the
 * height is unknown, 1 m stands in.
 */
export function viewCamera(view: View): Pinhole {
  return groundCamera({
    focalPx: view.focalPx.value!,
    tiltDeg: view.tiltDeg.value!,
    rollDeg: view.rollDeg.value!,
    cameraHeight: view.cameraHeight.value ?? 1,
    widthPx: view.widthPx,
    heightPx: view.heightPx,
  });
}

/** θ = (ln focal, tilt rad, roll rad, ln height) of a view. */
function thetaOf(view: View): [number, number, number, number] {
  return [
    Math.log(view.focalPx.value!),
    view.tiltDeg.value! / DEG_PER_RAD,
    view.rollDeg.value! / DEG_PER_RAD,
    Math.log(view.cameraHeight.value ?? 1),
  ];
}

/** The camera of the view's unknowns (ln focal px, tilt rad, roll rad, ln height m). */
function cameraOfTheta(theta: readonly number[], widthPx: number, heightPx: number): Pinhole {
  return groundCamera({
    focalPx: Math.exp(theta[0]!),
    tiltDeg: theta[1]! * DEG_PER_RAD,
    rollDeg: theta[2]! * DEG_PER_RAD,
    cameraHeight: Math.exp(theta[3]!),
    widthPx,
    heightPx,
  });
}

/**
 * Propagates the view's covariance and independent noise of further inputs through `fn`.
 * @param inputs values of the further inputs (pixels, metres) and their sds
 * @returns values with their full covariance (row-major k × k); null where fn gives null at the point itself
 */
export function propagate(
  view: View,
  inputs: readonly { value: number; sd: number }[],
  fn: (camera: Pinhole, inputs: readonly number[]) => readonly number[] | null,
): { values: number[]; covariance: number[]; viewPart: number[] } | null {
  const theta = thetaOf(view);
  const x = inputs.map((i) => i.value);
  const at = (t: readonly number[], y: readonly number[]): readonly number[] | null =>
    fn(cameraOfTheta(t, view.widthPx, view.heightPx), y);
  const centre = at(theta, x);
  if (centre === null) return null;
  const k = centre.length;
  const column = (plus: readonly number[] | null, minus: readonly number[] | null, h: number): number[] => {
    // One-sided where the other side falls off the ground.
    if (plus !== null && minus !== null) return plus.map((v, i) => (v - minus[i]!) / (2 * h));
    if (plus !== null) return plus.map((v, i) => (v - centre[i]!) / h);
    if (minus !== null) return minus.map((v, i) => (centre[i]! - v) / h);
    return new Array<number>(k).fill(0);
  };
  const jt: number[][] = [];
  for (let a = 0; a < 4; a++) {
    const h = 1e-5;
    const p = [...theta];
    const m = [...theta];
    p[a] = p[a]! + h;
    m[a] = m[a]! - h;
    jt.push(column(at(p, x), at(m, x), h));
  }
  const viewPart = new Array<number>(k * k).fill(0);
  for (let i = 0; i < k; i++)
    for (let j = 0; j < k; j++) {
      let s = 0;
      for (let a = 0; a < 4; a++)
        for (let b = 0; b < 4; b++) s += jt[a]![i]! * view.covariance[a * 4 + b]! * jt[b]![j]!;
      viewPart[i * k + j] = s;
    }
  const covariance = [...viewPart];
  inputs.forEach((input, q) => {
    if (input.sd === 0) return;
    const h = Math.max(1e-4, input.sd * 0.1);
    const p = [...x];
    const m = [...x];
    p[q] = p[q]! + h;
    m[q] = m[q]! - h;
    const c = column(at(theta, p), at(theta, m), h);
    for (let i = 0; i < k; i++)
      for (let j = 0; j < k; j++) covariance[i * k + j] = covariance[i * k + j]! + c[i]! * c[j]! * input.sd * input.sd;
  });
  return { values: [...centre], covariance, viewPart };
}

function single(
  view: View,
  inputs: readonly { value: number; sd: number }[],
  fn: (camera: Pinhole, inputs: readonly number[]) => number | null,
): Derived | null {
  const r = propagate(view, inputs, (c, y) => {
    const v = fn(c, y);
    return v === null ? null : [v];
  });
  return r === null ? null : { value: r.values[0]!, sd: Math.sqrt(Math.max(0, r.covariance[0]!)) };
}

const pair = (p: readonly [number, number], sd: number): { value: number; sd: number }[] => [
  { value: p[0], sd },
  { value: p[1], sd },
];

/**
 * Distance along the ground from below the camera to a ground pixel, metres (or in
 * camera heights where no height is known).
 */
export function groundDistance(view: View, ground: readonly [number, number], sdPx: number): Derived | null {
  return single(view, pair(ground, sdPx), (c, y) => {
    const g = groundPoint(c, y[0]!, y[1]!);
    return g === null ? null : Math.hypot(g[0], g[2]);
  });
}

/**
 * Height of a thing standing at ground pixel `ground` whose top is seen at `top`:
 * nearest point of its vertical to the top's ray.
 */
export function heightOfUpright(
  c: Pinhole,
  ground: readonly [number, number],
  top: readonly [number, number],
): number | null {
  const g = groundPoint(c, ground[0], ground[1]);
  if (g === null) return null;
  const d = unproject(c, top[0], top[1]);
  // Closest approach of the ray C + s d to the vertical through g, in the plane of the ray's own bearing.
  const s = (d[0] * (g[0] - c.position[0]) + d[2] * (g[2] - c.position[2])) / (d[0] * d[0] + d[2] * d[2]);
  return s > 0 ? c.position[1] + s * d[1] : null;
}

/**
 * Height of an upright marked by its foot and top, px known within `sdPx`; metres, or camera heights where no length is
 * known. Null where it can't stand on the ground.
 */
export function uprightHeight(
  view: View,
  ground: readonly [number, number],
  top: readonly [number, number],
  sdPx: number,
): Derived | null {
  return single(view, [...pair(ground, sdPx), ...pair(top, sdPx)], (c, y) =>
    heightOfUpright(c, [y[0]!, y[1]!], [y[2]!, y[3]!]),
  );
}

export interface SubjectView {
  /**
   * Elevation of the camera as seen from the middle of the subject, degrees; positive = the camera looks down on it.
   */
  readonly elevationDeg: Derived;
  /** Straight distance camera to middle over the subject's height: the perspective. */
  readonly distanceOverHeight: Derived;
  /** Straight distance camera to middle, and the subject's height, metres; null where no length is known. */
  readonly distanceM: Derived | null;
  readonly heightM: Derived | null;
  /** Metres a pixel at the subject, across the line of sight. */
  readonly metresPerPx: Derived | null;
}

/** How the camera looks at a subject that stands on the ground at `ground` with its top at `top` (pixels). */
export function subjectView(
  view: View,
  ground: readonly [number, number],
  top: readonly [number, number],
  sdPx: number,
): SubjectView | null {
  const inputs = [...pair(ground, sdPx), ...pair(top, sdPx)];
  const solve = (c: Pinhole, y: readonly number[]): readonly number[] | null => {
    const g = groundPoint(c, y[0]!, y[1]!);
    const h = heightOfUpright(c, [y[0]!, y[1]!], [y[2]!, y[3]!]);
    if (g === null || h === null || !(h > 0)) return null;
    const flat = Math.hypot(g[0], g[2]);
    const rise = c.position[1] - h / 2;
    const dist = Math.hypot(flat, rise);
    const mid = project(c, [g[0], h / 2, g[2]]);
    if (mid === null) return null;
    return [Math.atan2(rise, flat) * DEG_PER_RAD, dist / h, dist, h, mid.depth / c.focalPx];
  };
  const r = propagate(view, inputs, solve);
  if (r === null) return null;
  const get = (i: number): Derived => ({ value: r.values[i]!, sd: Math.sqrt(Math.max(0, r.covariance[i * 6]!)) });
  const metric = view.cameraHeight.value !== null;
  return {
    elevationDeg: get(0),
    distanceOverHeight: get(1),
    distanceM: metric ? get(2) : null,
    heightM: metric ? get(3) : null,
    metresPerPx: metric ? get(4) : null,
  };
}

/**
 * Camera elevation and perspective towards a thing carried off the ground: from its pixels and its known height alone.
 */
export function carriedView(
  view: View,
  bottom: readonly [number, number],
  top: readonly [number, number],
  heightM: number,
  sdPx: number,
): SubjectView | null {
  const inputs = [...pair(bottom, sdPx), ...pair(top, sdPx), { value: heightM, sd: 0.03 * heightM }];
  const r = propagate(view, inputs, (c, y) => {
    const a = unproject(c, y[0]!, y[1]!);
    const b = unproject(c, y[2]!, y[3]!);
    const mid = unproject(c, (y[0]! + y[2]!) / 2, (y[1]! + y[3]!) / 2);
    // An upright segment of height H seen between rays a and b: horizontal distance D with D (tan eb − tan ea) = H.
    const ta = a[1] / Math.hypot(a[0], a[2]);
    const tb = b[1] / Math.hypot(b[0], b[2]);
    if (!(tb - ta > 1e-6)) return null;
    const flat = y[4]! / (tb - ta);
    const tm = mid[1] / Math.hypot(mid[0], mid[2]);
    const dist = flat * Math.hypot(1, tm);
    return [Math.atan(-tm) * DEG_PER_RAD, dist / y[4]!, dist, y[4]!, dist / c.focalPx];
  });
  if (r === null) return null;
  const get = (i: number): Derived => ({ value: r.values[i]!, sd: Math.sqrt(Math.max(0, r.covariance[i * 6]!)) });
  return { elevationDeg: get(0), distanceOverHeight: get(1), distanceM: get(2), heightM: get(3), metresPerPx: get(4) };
}
