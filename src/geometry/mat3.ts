/**
 * 3 × 3 matrices as row-major 9-tuples: [m11, m12, m13, m21, ..., m33]. Applied to image points as homogeneous columns
 * (x, y, 1); pixels with centres at +0.5. Pure functions, no state.
 */
import { mapTuple } from '../core/tuples.js';
import { PlatewrightError } from '../core/errors.js';

/** A 3 × 3 matrix, row by row. */
export type Mat3 = readonly [number, number, number, number, number, number, number, number, number];
/** A column of three. */
export type Vec3 = readonly [number, number, number];
/** x to the right, y down; of a picture in pixels from its top left corner, a pixel's centre at +.5. */
export type Point2 = readonly [number, number];

/** Leaves everything where it is. */
export const IDENTITY3: Mat3 = [1, 0, 0, 0, 1, 0, 0, 0, 1];

/** a · b: applies `b` first. */
export function multiply(a: Mat3, b: Mat3): Mat3 {
  return [
    a[0] * b[0] + a[1] * b[3] + a[2] * b[6],
    a[0] * b[1] + a[1] * b[4] + a[2] * b[7],
    a[0] * b[2] + a[1] * b[5] + a[2] * b[8],
    a[3] * b[0] + a[4] * b[3] + a[5] * b[6],
    a[3] * b[1] + a[4] * b[4] + a[5] * b[7],
    a[3] * b[2] + a[4] * b[5] + a[5] * b[8],
    a[6] * b[0] + a[7] * b[3] + a[8] * b[6],
    a[6] * b[1] + a[7] * b[4] + a[8] * b[7],
    a[6] * b[2] + a[7] * b[5] + a[8] * b[8],
  ];
}

/** Rows for columns. */
export function transpose(m: Mat3): Mat3 {
  return [m[0], m[3], m[6], m[1], m[4], m[7], m[2], m[5], m[8]];
}

/** Determinant; 0 where the matrix folds the plane to a line or less. */
export function determinant(m: Mat3): number {
  return m[0] * (m[4] * m[8] - m[5] * m[7]) - m[1] * (m[3] * m[8] - m[5] * m[6]) + m[2] * (m[3] * m[7] - m[4] * m[6]);
}

/** Inverse by the adjugate, or null where the matrix is singular to working precision. */
export function tryInvert(m: Mat3): Mat3 | null {
  const d = determinant(m);
  let scale = 0;
  for (let i = 0; i < 9; i++) scale = Math.max(scale, Math.abs(m[i]!));
  if (!Number.isFinite(d) || Math.abs(d) <= 1e-14 * scale * scale * scale || scale === 0) {
    // A homography in pixels has entries of very different size; judge it by its own rows before giving up.
    const rows = [0, 3, 6].map((i) => Math.hypot(m[i]!, m[i + 1]!, m[i + 2]!)) as [number, number, number];
    if (!Number.isFinite(d) || d === 0 || Math.abs(d) <= 1e-15 * rows[0] * rows[1] * rows[2]) return null;
  }
  const k = 1 / d;
  return [
    (m[4] * m[8] - m[5] * m[7]) * k,
    (m[2] * m[7] - m[1] * m[8]) * k,
    (m[1] * m[5] - m[2] * m[4]) * k,
    (m[5] * m[6] - m[3] * m[8]) * k,
    (m[0] * m[8] - m[2] * m[6]) * k,
    (m[2] * m[3] - m[0] * m[5]) * k,
    (m[3] * m[7] - m[4] * m[6]) * k,
    (m[1] * m[6] - m[0] * m[7]) * k,
    (m[0] * m[4] - m[1] * m[3]) * k,
  ];
}

/** Inverse. Throws `PW-GEOMETRY-SINGULAR` where there is none. */
export function invert(m: Mat3): Mat3 {
  const r = tryInvert(m);
  if (r === null)
    throw new PlatewrightError(
      'PW-GEOMETRY-SINGULAR',
      `the 3 × 3 matrix [${m.join(', ')}] cannot be inverted; the points it came from lie on one line`,
      { kind: 'internal' },
    );
  return r;
}

/** Maps an image point through a homography (perspective division). Points on the vanishing line give ±Infinity. */
export function apply(m: Mat3, x: number, y: number): [number, number] {
  const w = m[6] * x + m[7] * y + m[8];
  return [(m[0] * x + m[1] * y + m[2]) / w, (m[3] * x + m[4] * y + m[5]) / w];
}

/** m · v without division. */
export function applyVector(m: Mat3, v: Vec3): [number, number, number] {
  return [
    m[0] * v[0] + m[1] * v[1] + m[2] * v[2],
    m[3] * v[0] + m[4] * v[1] + m[5] * v[2],
    m[6] * v[0] + m[7] * v[1] + m[8] * v[2],
  ];
}

/** Scales a homography so that its last entry is 1 (or its norm 1 where that entry vanishes). */
export function normalise(m: Mat3): Mat3 {
  const big = Math.hypot(...m);
  const k = Math.abs(m[8]) > 1e-12 * big ? 1 / m[8] : 1 / big;
  return mapTuple(m, (v) => v * k);
}

/** A shift by (dx, dy). */
export function translation(dx: number, dy: number): Mat3 {
  return [1, 0, dx, 0, 1, dy, 0, 0, 1];
}

/**
 * The same map between pictures scaled by `factor` (0.5 = half size): S · m · S⁻¹, exact with pixel centres at +0.5.
 */
export function rescale(m: Mat3, factor: number): Mat3 {
  return [m[0], m[1], m[2] * factor, m[3], m[4], m[5] * factor, m[6] / factor, m[7] / factor, m[8]];
}

/** Cross product a × b. */
export function cross(a: Vec3, b: Vec3): [number, number, number] {
  return [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
}

/** Inner product. */
export function dot(a: Vec3, b: Vec3): number {
  return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

/** The vector at length 1; not a number where it has none. */
export function unit(v: Vec3): [number, number, number] {
  const n = Math.hypot(v[0], v[1], v[2]);
  return [v[0] / n, v[1] / n, v[2] / n];
}
