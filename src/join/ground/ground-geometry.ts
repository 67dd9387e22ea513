/**
 * The ground under a performer's foot as the camera sees it, and the key over it. Camera frame: x right, y down, z
 * forward; lengths in metres (or, where no height is known, in performer heights).
 */
import { RAD_PER_DEG } from '../../core/angles.js';
import { worldToCamera } from '../../geometry/camera.js';
import { applyVector, dot, unit, type Vec3 } from '../../geometry/mat3.js';
import type { GroundStep } from '../types.js';
import type { GroundFrame } from './types.js';

/**
 * Ground and key in the camera's axes: `up` off the ground and `light` towards the key, of length 1; `foot`, where the
 * performer stands; `focalPx`, `principal` in pixels.
 */
export interface GroundGeometry {
  readonly up: Vec3;
  readonly light: Vec3;
  readonly foot: Vec3;
  /** Height of the camera above the plane of the ground. */
  readonly cameraHeight: number;
  readonly focalPx: number;
  readonly principal: readonly [number, number];
}

/** Unit vector towards the key in the camera frame, from azimuth and elevation relative to the camera. */
export function lightInCamera(azimuthDeg: number, elevationDeg: number, tiltDeg: number, rollDeg: number): Vec3 {
  const a = azimuthDeg * RAD_PER_DEG,
    e = elevationDeg * RAD_PER_DEG;
  const world: Vec3 = [Math.cos(e) * Math.sin(a), Math.sin(e), -Math.cos(e) * Math.cos(a)];
  return unit(applyVector(worldToCamera(0, tiltDeg, rollDeg), world));
}

/** The ground under the foot as the camera sees it at one frame. */
export function groundGeometry(
  step: Pick<GroundStep, 'focalPx' | 'azimuthDeg' | 'proposedAzimuthDeg' | 'elevationDeg' | 'principal'>,
  at: GroundFrame,
  widthPx: number,
  heightPx: number,
): GroundGeometry {
  const up = unit(applyVector(worldToCamera(0, at.tiltDeg, at.rollDeg), [0, 1, 0]));
  const principal = step.principal ?? ([widthPx / 2, heightPx / 2] as const);
  const z = step.focalPx / at.pxPerMetre;
  const foot: Vec3 = [
    ((at.foot[0] - principal[0]) / step.focalPx) * z,
    ((at.foot[1] - principal[1]) / step.focalPx) * z,
    z,
  ];
  return {
    up,
    light: lightInCamera(
      at.azimuthDeg + step.azimuthDeg - (step.proposedAzimuthDeg ?? step.azimuthDeg),
      step.elevationDeg,
      at.tiltDeg,
      at.rollDeg,
    ),
    foot,
    cameraHeight: -dot(foot, up),
    focalPx: step.focalPx,
    principal,
  };
}
