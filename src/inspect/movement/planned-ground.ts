/** How the recipe plans the ground about the foot to move: as a plane seen by the camera of the ground step. */
import { cross, invert, multiply, tryInvert, type Mat3, type Vec3 } from '../../geometry/mat3.js';
import { lightInCamera, groundGeometry } from '../../join/ground/ground-geometry.js';
import { placementAt } from '../../join/ride/ride.js';
import type { GroundFrame } from '../../join/ground/types.js';
import type { GroundStep, Recipe, RideStep } from '../../join/types.js';

/** A foot that goes by more than this beside the place that the ride carries, px, walks of its own. */
const WALKS = 0.01;
/** Depths about the foot's own that are taken for its ground. */
const NEAREST = 0.7,
  FARTHEST = 1.35;

/** The ground under a place at one frame: plane coordinates, foot at 0, to pixels. */
export interface PlannedGround {
  readonly foot: readonly [number, number];
  readonly toPixels: Mat3;
  /** Whether a pixel shows ground about as far away as the foot. */
  readonly near: (x: number, y: number) => boolean;
}

/** Null where the plane is seen from its edge. `at`: one of `standingFrames`. */
export function plannedGround(
  step: GroundStep,
  at: GroundFrame,
  [widthPx, heightPx]: readonly [number, number],
): PlannedGround | null {
  const { foot, up, focalPx, principal } = groundGeometry(step, at, widthPx, heightPx),
    // The key is the one thing that stays where it is in the set: towards it along the ground.
    along = lightInCamera(at.azimuthDeg, 0, at.tiltDeg, at.rollDeg),
    aside = cross(up, along);
  const column = (v: Vec3): Vec3 => [focalPx * v[0] + principal[0] * v[2], focalPx * v[1] + principal[1] * v[2], v[2]],
    [a, b, c] = [column(along), column(aside), column(foot)],
    toPixels: Mat3 = [a[0], b[0], c[0], a[1], b[1], c[1], a[2], b[2], c[2]],
    back = tryInvert(toPixels);
  if (back === null) return null;
  return {
    foot: at.foot,
    toPixels,
    near: (x, y) => {
      const w = back[6] * x + back[7] * y + back[8],
        s = (back[0] * x + back[1] * y + back[2]) / w,
        t = (back[3] * x + back[4] * y + back[5]) / w,
        z = s * along[2] + t * aside[2] + foot[2];
      return z > NEAREST * foot[2] && z < FARTHEST * foot[2];
    },
  };
}

/** Pixels of one frame to those of another where the ground lies as planned. */
export function groundWarp(from: PlannedGround, to: PlannedGround): Mat3 {
  return multiply(to.toPixels, invert(from.toPixels));
}

/** Where a ride puts the ground of its take, and how large, on a frame. */
function carried(ride: RideStep & { readonly upright: NonNullable<RideStep['upright']> }, frame: number): GroundPlace {
  const m = placementAt(ride, frame),
    [x, y] = ride.upright.ground,
    w = m[6] * x + m[7] * y + m[8];
  return {
    at: [(m[0] * x + m[1] * y + m[2]) / w, (m[3] * x + m[4] * y + m[5]) / w],
    size: Math.sqrt(Math.abs(m[0] * m[4] - m[1] * m[3])),
  };
}

interface GroundPlace {
  readonly at: readonly [number, number];
  readonly size: number;
}

/**
 * The ground step's frames as places of the set. A performer that walks goes over the ground: then the place counts
 * that the ride carries, as large as the ride has it, and not the foot.
 */
export function standingFrames(recipe: Recipe, step: GroundStep): ReadonlyMap<number, GroundFrame> {
  const ride = recipe.steps.find((s): s is RideStep => s.step === 'ride'),
    first = step.frames[0],
    as = new Map(step.frames.map((g) => [g.frame, g]));
  if (first === undefined || ride?.upright === undefined || ride.placement.length === 0) return as;
  const upright = { ...ride, upright: ride.upright },
    a = carried(upright, first.frame),
    places = step.frames.map((g) => carried(upright, g.frame)),
    walks = step.frames.some(
      (g, k) =>
        Math.hypot(
          g.foot[0] - first.foot[0] - places[k]!.at[0] + a.at[0],
          g.foot[1] - first.foot[1] - places[k]!.at[1] + a.at[1],
        ) > WALKS,
    );
  return !walks
    ? as
    : new Map(
        step.frames.map((g, k) => [
          g.frame,
          { ...g, foot: places[k]!.at, pxPerMetre: (first.pxPerMetre * places[k]!.size) / a.size },
        ]),
      );
}
