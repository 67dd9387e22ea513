/**
 * Looks at the ground from other frames of a travelling camera: where such a frame's camera stands, and what it is off
 * by from what the way tells.
 */
import { multiply } from '../../geometry/mat3.js';
import { rotationFromVector } from '../../geometry/rotation.js';
import type { GroundLook, GroundLooks } from './ground-looks.js';
import { A_LOOK, type Layout } from './view-layout.js';
import type { Cam } from './view-pinhole.js';

/** The camera of a look from another frame: turned and moved from the view's. */
export function setLook(p: Float64Array, view: Cam, look: GroundLook, { lookAt, scaleAt }: Layout, out: Cam): void {
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

/**
 * What the looks are off by from what the way tells of them, in its own standard deviations.
 * @param root Cholesky factor of the way's covariance, rows of 3 + 6 a look
 * @param first unknown of the first look in `p`
 * @param from place in `out`
 */
export function looksResiduals(
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
