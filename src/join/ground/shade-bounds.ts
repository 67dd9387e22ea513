/**
 * Boxes of the picture in which the shade may lie: of the plane that receives it and of what a person marked. Upside
 * down (right of left, below top) where there is none.
 */
import { RAD_PER_DEG } from '../../core/angles.js';
import { dot } from '../../geometry/mat3.js';
import type { GroundStep } from '../types.js';
import type { Box } from './ground.js';
import type { GroundGeometry } from './ground-geometry.js';
import { GRAZING, isBalls, type PlacedReceiver, type Plane } from './receivers.js';
import type { SolidBall } from './shadow-map.js';

/** A box widened on every side. */
export const grown = (b: Box, by: number): Box => [b[0] - by, b[1] - by, b[2] + by, b[3] + by];
/** The least box that holds both. */
export const joined = (a: Box, b: Box): Box => [
  Math.min(a[0], b[0]),
  Math.min(a[1], b[1]),
  Math.max(a[2], b[2]),
  Math.max(a[3], b[3]),
];
const NOWHERE: Box = [Infinity, Infinity, -Infinity, -Infinity];

/** The part of a box inside the picture, in whole pixels; null where there is none. */
export function clipped(b: Box, widthPx: number, heightPx: number): Box | null {
  const box: Box = [
    Math.max(0, Math.floor(b[0])),
    Math.max(0, Math.floor(b[1])),
    Math.min(widthPx, Math.ceil(b[2])),
    Math.min(heightPx, Math.ceil(b[3])),
  ];
  return box[2] > box[0] && box[3] > box[1] ? box : null;
}

/**
 * Pixels of a marked surface that the shade can reach: of a rounded body all, of a plane those where the shadow falls
 * on it.
 */
export function receiverBounds(
  g: GroundGeometry,
  r: PlacedReceiver,
  solid: readonly SolidBall[],
  near: readonly SolidBall[],
  step: GroundStep,
): Box {
  let outline = NOWHERE;
  for (const [x, y] of r.polygon) outline = joined(outline, [x, y, x, y]);
  if (isBalls(r.surface)) return outline;
  const reach = shadedBounds(g, r.surface, dot(g.light, r.surface.n) > GRAZING ? solid : [], near, step);
  const both: Box = [
    Math.max(outline[0], reach[0]),
    Math.max(outline[1], reach[1]),
    Math.min(outline[2], reach[2]),
    Math.min(outline[3], reach[3]),
  ];
  return both[2] > both[0] && both[3] > both[1] ? both : NOWHERE;
}

/** Where on the picture the shade of a plane lies, unclipped; upside down where there is none. */
export function shadedBounds(
  g: GroundGeometry,
  plane: Plane,
  solid: readonly SolidBall[],
  near: readonly SolidBall[],
  step: GroundStep,
): Box {
  const reach = Float64Array.of(Infinity, Infinity, -Infinity, -Infinity);
  shadowReach(g, plane, solid, Math.tan(step.softnessDeg * RAD_PER_DEG), reach);
  for (const b of near) {
    const k = dot(b.centre, plane.n) - plane.d;
    if (k > 4 * b.radius) continue;
    const z = b.centre[2] - k * plane.n[2];
    include(
      g,
      reach,
      b.centre[0] - k * plane.n[0],
      b.centre[1] - k * plane.n[1],
      z,
      (5 * b.radius * g.focalPx) / Math.max(z, 0.05),
    );
  }
  return [reach[0]!, reach[1]!, reach[2]!, reach[3]!];
}

/** Where the shadow of each ball falls. Some thousand balls a frame: no objects in between. */
function shadowReach(
  g: GroundGeometry,
  plane: Plane,
  solid: readonly SolidBall[],
  soft: number,
  reach: Float64Array,
): void {
  const slant = dot(g.light, plane.n),
    [lx, ly, lz] = g.light;
  for (let i = 0; i < solid.length; i++) {
    const { centre, radius } = solid[i]!,
      k = (dot(centre, plane.n) - plane.d) / slant;
    if (k < -radius) continue;
    const z = centre[2] - k * lz;
    include(
      g,
      reach,
      centre[0] - k * lx,
      centre[1] - k * ly,
      z,
      ((radius / slant + k * soft) * g.focalPx) / Math.max(z, 0.05) + 4,
    );
  }
}

/** Widens a box of pixels by what lies `r` pixels about a point before the camera. */
function include(g: GroundGeometry, reach: Float64Array, x: number, y: number, z: number, r: number): void {
  if (!(z > 1e-6)) return;
  const u = g.principal[0] + (g.focalPx * x) / z,
    v = g.principal[1] + (g.focalPx * y) / z;
  reach[0] = Math.min(reach[0]!, u - r);
  reach[1] = Math.min(reach[1]!, v - r);
  reach[2] = Math.max(reach[2]!, u + r);
  reach[3] = Math.max(reach[3]!, v + r);
}
