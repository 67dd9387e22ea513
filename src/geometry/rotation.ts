/**
 * Rotations: Rodrigues' formula both ways, the camera's pan, tilt and roll, and the rotation that best carries one set
 * of directions to another (Kabsch, Acta Cryst. A32, 1976; solved here by Horn's quaternion form, JOSA A 4, 1987).
 * Matrices are row-major; angles in radians except where the name says Deg.
 */
import { DEG_PER_RAD } from '../core/angles.js';
import { symmetricEigen } from './linear-solve.js';
import { multiply, transpose, type Mat3, type Vec3 } from './mat3.js';

/** Rotation about `v` by |v| radians. */
export function rotationFromVector(v: Vec3): Mat3 {
  const t2 = v[0] * v[0] + v[1] * v[1] + v[2] * v[2];
  const t = Math.sqrt(t2);
  const a = t < 1e-6 ? 1 - t2 / 6 : Math.sin(t) / t;
  const b = t < 1e-6 ? 0.5 - t2 / 24 : (1 - Math.cos(t)) / t2;
  const [x, y, z] = v;
  return [
    1 - b * (y * y + z * z),
    b * x * y - a * z,
    b * x * z + a * y,
    b * x * y + a * z,
    1 - b * (x * x + z * z),
    b * y * z - a * x,
    b * x * z - a * y,
    b * y * z + a * x,
    1 - b * (x * x + y * y),
  ];
}

/** Axis times angle (radians, angle in [0, π]) of a rotation matrix. */
export function vectorFromRotation(r: Mat3): [number, number, number] {
  const c = Math.max(-1, Math.min(1, (r[0] + r[4] + r[8] - 1) / 2));
  const wx = r[7] - r[5];
  const wy = r[2] - r[6];
  const wz = r[3] - r[1];
  const s = Math.hypot(wx, wy, wz) / 2;
  const t = Math.atan2(s, c);
  if (s > 1e-9) {
    const k = t / (2 * s);
    return [wx * k, wy * k, wz * k];
  }
  if (c > 0) return [wx / 2, wy / 2, wz / 2];
  const x = Math.sqrt(Math.max(0, (r[0] + 1) / 2));
  const y = Math.sqrt(Math.max(0, (r[4] + 1) / 2));
  const z = Math.sqrt(Math.max(0, (r[8] + 1) / 2));
  if (x >= y && x >= z) return [Math.PI * x, Math.PI * y * Math.sign(r[1] || 1), Math.PI * z * Math.sign(r[2] || 1)];
  if (y >= z) return [Math.PI * x * Math.sign(r[1] || 1), Math.PI * y, Math.PI * z * Math.sign(r[5] || 1)];
  return [Math.PI * x * Math.sign(r[2] || 1), Math.PI * y * Math.sign(r[5] || 1), Math.PI * z];
}

/** Angle of a rotation in radians. */
export function rotationAngle(r: Mat3): number {
  const v = vectorFromRotation(r);
  return Math.hypot(v[0], v[1], v[2]);
}

/**
 * Rotation from camera coordinates of a turned camera to those of the reference camera (both x
 * right, y down, z forward), from pan (positive right), tilt (positive up) and roll (positive:
 * the picture's content turns clockwise), radians.
 */
export function rotationFromPanTiltRoll(pan: number, tilt: number, roll: number): Mat3 {
  const cp = Math.cos(pan);
  const sp = Math.sin(pan);
  const ct = Math.cos(tilt);
  const st = Math.sin(tilt);
  const cr = Math.cos(roll);
  const sr = Math.sin(roll);
  const ry: Mat3 = [cp, 0, sp, 0, 1, 0, -sp, 0, cp];
  const rx: Mat3 = [1, 0, 0, 0, ct, -st, 0, st, ct];
  const rz: Mat3 = [cr, sr, 0, -sr, cr, 0, 0, 0, 1];
  return multiply(ry, multiply(rx, rz));
}

/** Inverse of `rotationFromPanTiltRoll`, in degrees. */
export function panTiltRollDeg(r: Mat3): { panDeg: number; tiltDeg: number; rollDeg: number } {
  return {
    panDeg: Math.atan2(r[2], r[8]) * DEG_PER_RAD,
    tiltDeg: Math.atan2(-r[5], Math.hypot(r[2], r[8])) * DEG_PER_RAD,
    rollDeg: -Math.atan2(r[3], r[4]) * DEG_PER_RAD,
  };
}

/** The rotation R that minimises Σ w |R a − b|² for directions a, b given through their 3 × 3 moment M = Σ w b aᵀ. */
export function rotationFromMoment(m: Mat3): Mat3 {
  const [xx, xy, xz, yx, yy, yz, zx, zy, zz] = transpose(m);
  const n = Float64Array.of(
    xx + yy + zz,
    yz - zy,
    zx - xz,
    xy - yx,
    yz - zy,
    xx - yy - zz,
    xy + yx,
    zx + xz,
    zx - xz,
    xy + yx,
    yy - xx - zz,
    yz + zy,
    xy - yx,
    zx + xz,
    yz + zy,
    zz - xx - yy,
  );
  const { vectors } = symmetricEigen(n, 4);
  const w = vectors[3]!;
  const x = vectors[7]!;
  const y = vectors[11]!;
  const z = vectors[15]!;
  return [
    w * w + x * x - y * y - z * z,
    2 * (x * y - w * z),
    2 * (x * z + w * y),
    2 * (x * y + w * z),
    w * w - x * x + y * y - z * z,
    2 * (y * z - w * x),
    2 * (x * z - w * y),
    2 * (y * z + w * x),
    w * w - x * x - y * y + z * z,
  ];
}
