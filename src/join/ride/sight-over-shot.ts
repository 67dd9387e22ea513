/**
 * How a camera that travels sees who stands before it: as it comes nearer it looks down more steeply, and as it passes
 * it sees more of the one side. The camera's own way (plate/travel/travel.ts) tells how it is turned on each frame, and
 * the picture where the upright is seen, so the line of sight to the upright's middle is known against the ground
 * (Hartley & Zisserman, *Multiple View Geometry*, 2004, chapter 6). Poses carry noise from frame to frame, so both
 * angles are smoothed.
 */
import { DEG_PER_RAD, differenceDeg } from '../../core/angles.js';
import { applyVector, cross, dot, unit, type Vec3 } from '../../geometry/mat3.js';
import { AT_HOME, inversePose, type Pose } from '../../plate/travel/travel-pose.js';
import type { Travel } from '../../plate/types.js';
import { parabolas } from './local-parabolas.js';
import type { Place, Plate } from './travel-stand.js';

/** How the plate's camera sees the stand on a frame. */
export interface SightOnFrame {
  readonly frame: number;
  /** How far down it looks at the middle of the upright, degrees. */
  readonly elevationDeg: number;
  /** How far its line of sight is turned to the right of the shot's mean, about the upright, degrees. */
  readonly turnDeg: number;
}

/** What changes less over the shot than this (degrees) is not worth a view of its own on each frame. */
const LEAST_CHANGE_DEG = 1;

/**
 * Elevation and turn of the line of sight on every frame of the span; null where they hardly change.
 *
 * @param where ground and top of the upright on a frame, px
 */
export function sightOverShot(where: Place, travel: Travel, plate: Plate): readonly SightOnFrame[] | null {
  const poses = new Map<number, Pose>(travel.frames.map((t) => [t.frame, { r: t.rotation, t: t.translation }])),
    down = unit(travel.groundNormal),
    // Right and forward along the ground of the camera that the way counts from.
    right = unit(cross(down, [0, 0, 1])),
    forward = cross(right, down);
  const elevations: number[] = [],
    bearings: number[] = [];
  for (let n = plate.span.in; n < plate.span.out; n++) {
    const { ground, top } = where(n),
      seen: Vec3 = [
        ((ground[0] + top[0]) / 2 - plate.widthPx / 2) / travel.focalPx,
        ((ground[1] + top[1]) / 2 - plate.heightPx / 2) / travel.focalPx,
        1,
      ],
      sight = unit(applyVector(inversePose(poses.get(n) ?? AT_HOME).r, seen));
    elevations.push(Math.asin(dot(sight, down)) * DEG_PER_RAD);
    const bearing = Math.atan2(dot(sight, right), dot(sight, forward)) * DEG_PER_RAD,
      before = bearings.at(-1);
    bearings.push(before === undefined ? bearing : before + differenceDeg(bearing, before));
  }
  const elevation = parabolas(elevations),
    bearing = parabolas(bearings);
  if (Math.max(rangeOf(elevation), rangeOf(bearing)) < LEAST_CHANGE_DEG) return null;
  const mean = bearing.reduce((sum, b) => sum + b, 0) / bearing.length;
  return elevation.map((elevationDeg, i) => ({
    frame: plate.span.in + i,
    elevationDeg,
    turnDeg: bearing[i]! - mean,
  }));
}

const rangeOf = (values: readonly number[]): number => Math.max(...values) - Math.min(...values);
