/**
 * CIE 1976 L*a*b* (CIE 15:2004, ISO/CIE 11664-4). XYZ with Y of white = 1; white defaults to D65 of the BT.709 white
 * point.
 */
import { PRIMARIES, apply3, rgbToXyz, xyToXyz, xyzToRgb, ILLUMINANTS } from './matrices.js';

const EPSILON = 216 / 24389;
const KAPPA = 24389 / 27;
/** XYZ of D65 with Y = 1 (CIE 1931, 2°). */
export const WHITE_D65: readonly [number, number, number] = xyToXyz(ILLUMINANTS.D65);
const TO_XYZ = rgbToXyz(PRIMARIES.bt709);
const FROM_XYZ = xyzToRgb(PRIMARIES.bt709);

function f(t: number): number {
  return t > EPSILON ? Math.cbrt(t) : (KAPPA * t + 16) / 116;
}

function fInverse(t: number): number {
  const c = t * t * t;
  return c > EPSILON ? c : (116 * t - 16) / KAPPA;
}

/** XYZ (Y of white = 1) → L* 0..100, a*, b*, against `white`. */
export function xyzToLab(
  x: number,
  y: number,
  z: number,
  white: ArrayLike<number> = WHITE_D65,
): [number, number, number] {
  const fx = f(x / white[0]!);
  const fy = f(y / white[1]!);
  const fz = f(z / white[2]!);
  return [116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)];
}

/** L* 0..100, a*, b* → XYZ (Y of white = 1), against `white`. */
export function labToXyz(
  L: number,
  a: number,
  b: number,
  white: ArrayLike<number> = WHITE_D65,
): [number, number, number] {
  const fy = (L + 16) / 116;
  return [fInverse(fy + a / 500) * white[0]!, fInverse(fy) * white[1]!, fInverse(fy - b / 200) * white[2]!];
}

/** Scene-linear BT.709 → Lab (D65). */
export function linearToLab(r: number, g: number, b: number): [number, number, number] {
  const xyz = apply3(TO_XYZ, r, g, b);
  return xyzToLab(xyz[0], xyz[1], xyz[2]);
}

/** Lab (D65) → scene-linear BT.709. */
export function labToLinear(L: number, a: number, b: number): [number, number, number] {
  const xyz = labToXyz(L, a, b);
  return apply3(FROM_XYZ, xyz[0], xyz[1], xyz[2]);
}
