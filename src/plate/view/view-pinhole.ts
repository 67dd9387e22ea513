/**
 * The pinhole of the view's unknowns θ = (ln focal px, tilt rad, roll rad, ln camera height m) as
 * plain numbers, and what its residuals are made of: projection, the distance of a marked line
 * from a vanishing point, the direction of a wall.
 */
import type { Point } from '../marks/marks.js';

/** The camera of θ, as plain numbers: rows right, down, forward of world-to-camera. */
export interface Cam {
  /** Focal length, px, and height over the ground, m. */
  f: number;
  h: number;
  /** Where it stands over the ground, m. */
  x: number;
  z: number;
  /** The picture's middle, px; the rows of the rotation one after another. */
  cx: number;
  cy: number;
  r: Float64Array;
}

export const emptyCamera = (): Cam => ({ f: 1, h: 1, x: 0, z: 0, cx: 0, cy: 0, r: new Float64Array(9) });

/** Fills `out` with the camera of the unknowns θ, and returns it. */
export function setCamera(p: ArrayLike<number>, widthPx: number, heightPx: number, out: Cam): Cam {
  const ct = Math.cos(p[1]!);
  const st = Math.sin(p[1]!);
  const cr = Math.cos(p[2]!);
  const sr = Math.sin(p[2]!);
  out.f = Math.exp(p[0]!);
  out.h = Math.exp(p[3]!);
  out.x = 0;
  out.z = 0;
  out.cx = widthPx / 2;
  out.cy = heightPx / 2;
  // Rz(roll) times rows (1,0,0), (0,-ct,st), (0,st,ct).
  const r = out.r;
  r[0] = cr;
  r[1] = sr * ct;
  r[2] = -sr * st;
  r[3] = sr;
  r[4] = -cr * ct;
  r[5] = cr * st;
  r[6] = 0;
  r[7] = st;
  r[8] = ct;
  return out;
}

/**
 * Projects a world point (m) into `out` (px); points behind the camera go far away along
 * their own direction (smooth enough to climb back).
 */
export function projectTo(c: Cam, x: number, y: number, z: number, out: Float64Array): void {
  const dx = x - c.x;
  const dy = y - c.h;
  const dz = z - c.z;
  const r = c.r;
  const u = r[0]! * dx + r[1]! * dy + r[2]! * dz;
  const v = r[3]! * dx + r[4]! * dy + r[5]! * dz;
  const w = Math.max(r[6]! * dx + r[7]! * dy + r[8]! * dz, 1e-3);
  out[0] = c.cx + (c.f * u) / w;
  out[1] = c.cy + (c.f * v) / w;
}

/**
 * Residual of a marked line against the vanishing point of the direction d (world): the distance of the vanishing point
 * from the line through both ends, over its sd when each end has `sd` px of noise and the line itself `angleSd` radians
 * of its own. Homogeneous, so that a vanishing point at infinity needs no special case.
 */
export function lineResidual(
  c: Cam,
  a: Point,
  b: Point,
  dx: number,
  dy: number,
  dz: number,
  sd: number,
  angleSd: number,
): number {
  const r = c.r;
  const vw = r[6]! * dx + r[7]! * dy + r[8]! * dz;
  const vx = c.f * (r[0]! * dx + r[1]! * dy + r[2]! * dz) + c.cx * vw;
  const vy = c.f * (r[3]! * dx + r[4]! * dy + r[5]! * dz) + c.cy * vw;
  const lx = b[0] - a[0];
  const ly = b[1] - a[1];
  const len = Math.max(1e-6, Math.hypot(lx, ly));
  const mx = (a[0] + b[0]) / 2;
  const my = (a[1] + b[1]) / 2;
  const ox = vx - mx * vw;
  const oy = vy - my * vw;
  const across = (-ly * ox + lx * oy) / len;
  const along = (lx * ox + ly * oy) / len;
  const perEnd = sd * sd * (0.5 * vw * vw + (2 * along * along) / (len * len));
  return across / Math.sqrt(perEnd + angleSd * angleSd * along * along + 1e-300);
}

/** Direction of a wall from the meeting point of its top and bottom sides. */
export function wallDirection(c: Cam, w: readonly [Point, Point, Point, Point]): number {
  const cross = (a: Point, b: Point): [number, number, number] => [a[1] - b[1], b[0] - a[0], a[0] * b[1] - b[0] * a[1]];
  const l = cross(w[0], w[1]);
  const m = cross(w[3], w[2]);
  let vx = l[1] * m[2] - l[2] * m[1];
  let vy = l[2] * m[0] - l[0] * m[2];
  let vw = l[0] * m[1] - l[1] * m[0];
  const s = Math.hypot(vx, vy, vw);
  if (!(s > 0)) return 0;
  vx /= s;
  vy /= s;
  vw /= s;
  const u = (vx - c.cx * vw) / c.f;
  const v = (vy - c.cy * vw) / c.f;
  const r = c.r;
  const dx = r[0]! * u + r[3]! * v + r[6]! * vw;
  const dz = r[2]! * u + r[5]! * v + r[8]! * vw;
  const phi = Math.atan2(dz, dx);
  return phi > Math.PI / 2 ? phi - Math.PI : phi < -Math.PI / 2 ? phi + Math.PI : phi;
}
