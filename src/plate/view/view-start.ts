/**
 * First values of an observation's own unknowns, from where it lies in the picture
 * under a camera that is roughly right.
 */
import type { Point } from '../marks/marks.js';
import { wallDirection, type Cam } from './view-pinhole.js';
import type { ViewObservation } from './view-observations.js';

type Upright = Extract<ViewObservation, { kind: 'upright' }>;
type Rectangle = Extract<ViewObservation, { kind: 'rectangle' }>;
type Corners = readonly [Point, Point, Point, Point];

/**
 * Ground point of a pixel beside the camera's own place, or a far point in its direction where it lies above the
 * horizon.
 */
export function toGround(c: Cam, x: number, y: number): [number, number] {
  const u = (x - c.cx) / c.f;
  const v = (y - c.cy) / c.f;
  const r = c.r;
  const dx = r[0]! * u + r[3]! * v + r[6]!;
  const dy = r[1]! * u + r[4]! * v + r[7]!;
  const dz = r[2]! * u + r[5]! * v + r[8]!;
  const s = dy < -1e-3 ? -c.h / dy : 1000 * c.h;
  return [dx * s, dz * s];
}

/** Bearing, ln distance and, where the height is free, its ln; `p` is filled from `at` on. */
export function startUpright(c: Cam, o: Upright, p: Float64Array, at: number): void {
  const ground = toGround(c, o.foot[0], o.foot[1]);
  const seen = Math.max(2, Math.hypot(o.top[0] - o.foot[0], o.top[1] - o.foot[1]));
  const bySize = o.height === null ? Math.hypot(ground[0], ground[1]) : (c.f * o.height) / seen;
  const far = Math.min(1e4, Math.max(0.05, bySize));
  const [x, z] = o.place === undefined ? [0, 0] : [c.x, c.z];
  const share = far / Math.max(1e-6, Math.hypot(ground[0], ground[1]));
  p[at] = Math.atan2(x + share * ground[0], Math.max(1e-6, z + share * ground[1]));
  p[at + 1] = Math.log(Math.max(0.05, Math.hypot(x + share * ground[0], z + share * ground[1])));
  if (o.height === null) p[at + 2] = Math.log((seen * bySize) / c.f);
}

/** The same of a standing rectangle. @param w its corners in order */
export function startWall(c: Cam, o: Rectangle, w: Corners, p: Float64Array, at: number): void {
  const mx = (w[0][0] + w[1][0] + w[2][0] + w[3][0]) / 4;
  const my = (w[0][1] + w[1][1] + w[2][1] + w[3][1]) / 4;
  const u = (mx - c.cx) / c.f;
  const v = (my - c.cy) / c.f;
  const r = c.r;
  const dx = r[0]! * u + r[3]! * v + r[6]!;
  const dy = r[1]! * u + r[4]! * v + r[7]!;
  const dz = r[2]! * u + r[5]! * v + r[8]!;
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
}

/** The same of a lying rectangle. */
export function startFloor(c: Cam, o: Rectangle, p: Float64Array, at: number): void {
  const g: [number, number][] = o.corners.map((corner) => toGround(c, corner[0], corner[1]));
  const gx = (g[0]![0] + g[1]![0] + g[2]![0] + g[3]![0]) / 4;
  const gz = (g[0]![1] + g[1]![1] + g[2]![1] + g[3]![1]) / 4;
  p[at] = Math.atan2(gx, Math.max(1e-6, gz));
  p[at + 1] = Math.log(Math.min(1e4, Math.max(0.05, Math.hypot(gx, gz))));
  p[at + 2] = Math.atan2(g[1]![1] - g[0]![1], g[1]![0] - g[0]![0]);
  p[at + 3] = Math.log(Math.max(1e-3, Math.hypot(g[1]![0] - g[0]![0], g[1]![1] - g[0]![1])));
  p[at + 4] = Math.log(Math.max(1e-3, Math.hypot(g[2]![0] - g[1]![0], g[2]![1] - g[1]![1])));
}
