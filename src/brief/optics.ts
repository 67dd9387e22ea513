/**
 * Lens arithmetic: angle of view, pinhole scale, shutter, lamps. Thin-lens formulas of any optics textbook;
 * the tests hold them against published worked examples (test/published/optics.json).
 */
import { DEG_PER_RAD, RAD_PER_DEG } from '../core/angles.js';

/** Angle of view in degrees of a sensor side `sideMm` behind a rectilinear lens: 2 atan(d / 2f). */
export function angleOfViewDeg(sideMm: number, focalMm: number): number {
  return 2 * Math.atan(sideMm / (2 * focalMm)) * DEG_PER_RAD;
}

/** Focal length in pixels of a video picture `widthPx` wide taken from `sensorWidthMm` of sensor. */
export function focalInPixels(focalMm: number, sensorWidthMm: number, widthPx: number): number {
  return (focalMm / sensorWidthMm) * widthPx;
}

/** Exposure time in seconds: angle / (360 × frames per second). */
export function shutterSeconds(shutterDeg: number, framesPerSecond: number): number {
  return shutterDeg / (360 * framesPerSecond);
}

/** Elevation above the horizontal, in degrees, at which a subject's middle sees the camera. */
export function viewElevationDeg(cameraHeightM: number, subjectMiddleM: number, distanceM: number): number {
  return Math.atan2(cameraHeightM - subjectMiddleM, distanceM) * DEG_PER_RAD;
}

/** Diameter of a lamp's face that subtends `angleDeg` at `distanceM`. */
export function sourceSizeM(angleDeg: number, distanceM: number): number {
  return 2 * distanceM * Math.tan((angleDeg / 2) * RAD_PER_DEG);
}

/**
 * Stops that the fill alone must stand below the key alone, where the lit side (key + fill) is to be `ratioStops` above
 * the shadow side (fill): fill = key / (2^ratio − 1). Infinity for ratio 0 means: no key.
 */
export function fillStopsBelowKey(ratioStops: number): number {
  return Math.log2(Math.max(1e-6, 2 ** ratioStops - 1));
}
