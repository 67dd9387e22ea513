/**
 * The pinhole camera and the ground it stands on.
 *
 * Camera frame: x right, y down, z forward. Pixels from the top left corner; the principal point of a W × H picture is
 * (W/2, H/2) because pixel centres lie at +0.5. World of a view: x right, y up, z away from the camera along the
 * ground, origin on the ground straight beneath the camera (left-handed, as seen from behind the camera). Tilt negative
 * looks down; roll positive turns what the picture shows clockwise; pan positive turns the camera to the right. A point
 * X of the world is seen at K · (R (X − C)), with R = Rz(roll) · Rx · Ry(pan) (Hartley & Zisserman, chapter 6).
 */
import { RAD_PER_DEG } from '../core/angles.js';
import { applyVector, multiply, transpose, type Mat3, type Vec3 } from './mat3.js';

/** A camera without distortion; `focalPx` and `principal` in pixels, `position` in the world's unit. */
export interface Pinhole {
  readonly focalPx: number;
  readonly principal: readonly [number, number];
  /** World (x right, y up, z away) to camera (x right, y down, z forward); a rotation with a mirror, determinant −1. */
  readonly worldToCamera: Mat3;
  readonly position: Vec3;
}

/** World-to-camera of a camera panned, tilted and rolled by angles in degrees. */
export function worldToCamera(panDeg: number, tiltDeg: number, rollDeg: number): Mat3 {
  const p = panDeg * RAD_PER_DEG;
  const t = tiltDeg * RAD_PER_DEG;
  const r = rollDeg * RAD_PER_DEG;
  const cp = Math.cos(p);
  const sp = Math.sin(p);
  const ct = Math.cos(t);
  const st = Math.sin(t);
  const cr = Math.cos(r);
  const sr = Math.sin(r);
  // Rows: camera right, down, forward in world coordinates for roll 0.
  const level: Mat3 = [cp, 0, -sp, st * sp, -ct, st * cp, ct * sp, st, ct * cp];
  return multiply([cr, -sr, 0, sr, cr, 0, 0, 0, 1], level);
}

/** A camera over flat ground as a view measures it. */
export function groundCamera(v: {
  focalPx: number;
  tiltDeg: number;
  rollDeg: number;
  cameraHeight: number;
  widthPx: number;
  heightPx: number;
  panDeg?: number;
}): Pinhole {
  return {
    focalPx: v.focalPx,
    principal: [v.widthPx / 2, v.heightPx / 2],
    worldToCamera: worldToCamera(v.panDeg ?? 0, v.tiltDeg, v.rollDeg),
    position: [0, v.cameraHeight, 0],
  };
}

/** Image point of a world point and its depth along the optical axis; null where it lies behind the camera. */
export function project(c: Pinhole, world: Vec3): { x: number; y: number; depth: number } | null {
  const v = applyVector(c.worldToCamera, [
    world[0] - c.position[0],
    world[1] - c.position[1],
    world[2] - c.position[2],
  ]);
  if (!(v[2] > 1e-9)) return null;
  return { x: c.principal[0] + (c.focalPx * v[0]) / v[2], y: c.principal[1] + (c.focalPx * v[1]) / v[2], depth: v[2] };
}

/** Direction in the world (unit length) in which the camera sees an image point. */
export function unproject(c: Pinhole, x: number, y: number): [number, number, number] {
  const v: Vec3 = [(x - c.principal[0]) / c.focalPx, (y - c.principal[1]) / c.focalPx, 1];
  const d = applyVector(transpose(c.worldToCamera), v);
  const n = Math.hypot(d[0], d[1], d[2]);
  return [d[0] / n, d[1] / n, d[2] / n];
}

/** Where the ray through an image point meets the horizontal plane y = `height`; null at or beyond the horizon. */
export function groundPoint(c: Pinhole, x: number, y: number, height = 0): [number, number, number] | null {
  const d = unproject(c, x, y);
  const s = (height - c.position[1]) / d[1];
  if (!(s > 0) || !Number.isFinite(s)) return null;
  return [c.position[0] + s * d[0], height, c.position[2] + s * d[2]];
}

/** Homography from ground coordinates (x right, z away, in metres) to pixels. */
export function groundToImage(c: Pinhole): Mat3 {
  const r = c.worldToCamera;
  const [px, py, pz] = c.position;
  // Columns: R e_x, R e_z, R (−C).
  const t = applyVector(r, [-px, -py, -pz]);
  const k: Mat3 = [c.focalPx, 0, c.principal[0], 0, c.focalPx, c.principal[1], 0, 0, 1];
  return multiply(k, [r[0], r[2], t[0], r[3], r[5], t[1], r[6], r[8], t[2]]);
}

/** Horizon as a·x + b·y + c = 0 in pixels, (a, b) of unit length and pointing down to the ground's side. */
export function horizonLine(c: Pinhole): [number, number, number] {
  // Points whose ray is level: d · up = 0, with d = Rᵀ K⁻¹ x.
  const r = c.worldToCamera;
  const up: Vec3 = [r[1], r[4], r[7]];
  const a = -up[0] / c.focalPx;
  const b = -up[1] / c.focalPx;
  const k = -(up[2] - (up[0] * c.principal[0] + up[1] * c.principal[1]) / c.focalPx);
  const n = Math.hypot(a, b);
  return [a / n, b / n, k / n];
}
