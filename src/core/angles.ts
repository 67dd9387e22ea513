/** Angle conversions. Degrees at every surface, radians only inside functions. */
export const RAD_PER_DEG = Math.PI / 180;
/** Degrees in a radian. */
export const DEG_PER_RAD = 180 / Math.PI;

/** Wraps an angle in degrees to [-180, 180). */
export function wrapDeg(angleDeg: number): number {
  const a = (angleDeg + 180) % 360;
  return (a < 0 ? a + 360 : a) - 180;
}

/** Signed smallest difference a - b in degrees, in [-180, 180). */
export function differenceDeg(aDeg: number, bDeg: number): number {
  return wrapDeg(aDeg - bDeg);
}
