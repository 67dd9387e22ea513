/**
 * Vanishing points by hand: the closed forms that single views obey. The program finds views by least squares; these
 * are what its tests hold them against.
 *
 * - Focal length from vanishing points of two directions at right angles: f² = −(v1 − c) · (v2 − c), c the principal
 *   point (B. Caprile & V. Torre, *Using Vanishing Points for Camera Calibration*, IJCV 4, 1990).
 * - Height of an upright from the horizon l, the zenith's vanishing point v and one upright of known height:
 * α Z = −‖b × t‖ / ((l · b) ‖v × t‖) (A. Criminisi, I. Reid & A. Zisserman, *Single View Metrology*, IJCV 40(2), 2000,
 * eq. 5). All in pixels and homogeneous 3-vectors; metres for heights.
 */
import { cross, dot, type Vec3 } from '../../geometry/mat3.js';
import type { Point } from '../marks/marks.js';

/** A point with a third coordinate of 1. */
export const homogeneous = (p: Point): [number, number, number] => [p[0], p[1], 1];

/** Focal length in pixels, or null where the two can't be at right angles about this principal point. */
export function focalFromVanishingPoints(v1: Point, v2: Point, principal: Point): number | null {
  const f2 = -((v1[0] - principal[0]) * (v2[0] - principal[0]) + (v1[1] - principal[1]) * (v2[1] - principal[1]));
  return f2 > 0 ? Math.sqrt(f2) : null;
}

/**
 * Principal point of a triangle of three orthogonal vanishing points: its orthocentre
 * (Caprile & Torre 1990). Null where they lie on a line.
 */
export function orthocentre(a: Point, b: Point, c: Point): [number, number] | null {
  const ax = c[0] - b[0];
  const ay = c[1] - b[1];
  const bx = c[0] - a[0];
  const by = c[1] - a[1];
  const p = ax * a[0] + ay * a[1];
  const q = bx * b[0] + by * b[1];
  const det = ax * by - ay * bx;
  return Math.abs(det) < 1e-9 ? null : [(p * by - q * ay) / det, (ax * q - bx * p) / det];
}

/** Height of upright (foot, top) over that of a reference, by the cross ratio of Criminisi, Reid & Zisserman. */
export function heightByCrossRatio(
  horizon: Vec3,
  zenith: Vec3,
  reference: { foot: Point; top: Point; height: number },
  wanted: { foot: Point; top: Point },
): number {
  const alphaZ = (u: { foot: Point; top: Point }): number => {
    const b = homogeneous(u.foot);
    const t = homogeneous(u.top);
    const bt = cross(b, t);
    const vt = cross(zenith, t);
    return -Math.hypot(bt[0], bt[1], bt[2]) / (dot(horizon, b) * Math.hypot(vt[0], vt[1], vt[2]));
  };
  return (alphaZ(wanted) / alphaZ(reference)) * reference.height;
}

/** Camera height by the same cross ratio: the height of an upright whose top lies on the horizon. */
export function cameraHeightByHorizon(
  horizon: Vec3,
  zenith: Vec3,
  reference: { foot: Point; top: Point; height: number },
): number {
  const axis = cross(homogeneous(reference.foot), zenith);
  const at = cross(axis, horizon);
  return heightByCrossRatio(horizon, zenith, reference, { foot: reference.foot, top: [at[0] / at[2], at[1] / at[2]] });
}
