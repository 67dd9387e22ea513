/**
 * What each observation of a view is off by at some parameters, in its own standard deviations. Each function writes
 * its residuals from `from` on and returns where the next ones go; `at` is where the observation's own unknowns begin.
 */
import type { Point } from '../marks/marks.js';
import { projectTo, type Cam } from './view-pinhole.js';
import type { ViewObservation } from './view-observations.js';

/** Parameters, residuals and scratch of one evaluation; the same object serves every one. */
export interface Evaluation {
  readonly cam: Cam;
  /** The problem's unknowns, and where its residuals go. */
  p: Float64Array;
  out: Float64Array;
  /** Where a point of the world was projected last. */
  readonly point: Float64Array;
}

type Upright = Extract<ViewObservation, { kind: 'upright' }>;
type Horizon = Extract<ViewObservation, { kind: 'horizon' }>;
type Sight = Extract<ViewObservation, { kind: 'sight' }>;
type Rectangle = Extract<ViewObservation, { kind: 'rectangle' }>;
type Corners = readonly [Point, Point, Point, Point];

/**
 * Unknowns: bearing, ln distance, and ln height where it is free; from where its camera stands, but of a thing seen on
 * several frames from where the view's does.
 *
 * @param heightAt where the ln of what the heights of its likes are off by stands; −1 where it has none alike
 */
export function uprightResiduals(
  { cam: c, p, out, point }: Evaluation,
  o: Upright,
  at: number,
  from: number,
  heightAt = -1,
): number {
  let k = from;
  const d = Math.exp(p[at + 1]!);
  const x = d * Math.sin(p[at]!) + (o.place === undefined ? c.x : 0);
  const z = d * Math.cos(p[at]!) + (o.place === undefined ? c.z : 0);
  projectTo(c, x, 0, z, point);
  out[k++] = (o.foot[0] - point[0]!) / o.sdPx;
  out[k++] = (o.foot[1] - point[1]!) / o.sdPx;
  const h = heightAt < 0 ? (o.height ?? Math.exp(p[at + 2]!)) : o.height! * Math.exp(p[heightAt]!);
  projectTo(c, x, h, z, point);
  const ex = o.top[0] - point[0]!;
  const ey = o.top[1] - point[1]!;
  // Along the upright the height's own sd counts, across it the lean's.
  const ux = o.top[0] - o.foot[0];
  const uy = o.top[1] - o.foot[1];
  const len = Math.max(1e-6, Math.hypot(ux, uy));
  const along = (ex * ux + ey * uy) / len;
  const across = (ex * uy - ey * ux) / len;
  out[k++] = along / Math.hypot(o.sdPx, o.height === null || heightAt >= 0 ? 0 : o.heightSd * len);
  out[k++] = across / Math.hypot(o.sdPx, o.leanSd * len);
  return k;
}

/** Level rays have no upward part; two ends of the horizon's line. */
export function horizonResiduals({ cam: c, out }: Evaluation, o: Horizon, from: number): number {
  let k = from;
  // Level rays: d · up = 0; the signed distance in pixels.
  const a = -c.r[1]! / c.f;
  const b = -c.r[4]! / c.f;
  const k0 = -(c.r[7]! - (c.r[1]! * c.cx + c.r[4]! * c.cy) / c.f);
  const m = Math.hypot(a, b);
  out[k++] = (a * o.a[0] + b * o.a[1] + k0) / (m * o.sdPx);
  out[k++] = (a * o.b[0] + b * o.b[1] + k0) / (m * o.sdPx);
  return k;
}

/** How steeply the point's line of sight falls: d · up = −sin of it. */
export function sightResidual({ cam: c }: Evaluation, o: Sight): number {
  const x = (o.at[0] - c.cx) / c.f;
  const y = (o.at[1] - c.cy) / c.f;
  const up = (c.r[1]! * x + c.r[4]! * y + c.r[7]!) / Math.hypot(x, y, 1);
  return (-Math.asin(Math.max(-1, Math.min(1, up))) - o.elevationRad) / o.sdRad;
}

/**
 * Unknowns: bearing, elevation, ln distance of its centre, direction, ln width, ln height. @param w corners in order
 */
export function wallResiduals(
  { cam: c, p, out, point }: Evaluation,
  o: Rectangle,
  w: Corners,
  at: number,
  from: number,
): number {
  let k = from;
  const d = Math.exp(p[at + 2]!);
  // Centre by bearing, elevation above the camera's level, distance; then
  // direction of the wall and its sides.
  const ce = Math.cos(p[at + 1]!);
  const x = d * ce * Math.sin(p[at]!) + c.x;
  const z = d * ce * Math.cos(p[at]!) + c.z;
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
  return k;
}

/** Unknowns: bearing, ln distance of its centre, direction, ln width, ln depth. */
export function floorResiduals({ cam: c, p, out, point }: Evaluation, o: Rectangle, at: number, from: number): number {
  let k = from;
  const dist = Math.exp(p[at + 1]!);
  const x = dist * Math.sin(p[at]!) + c.x;
  const z = dist * Math.cos(p[at]!) + c.z;
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
  return k;
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
