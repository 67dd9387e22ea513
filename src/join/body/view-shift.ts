/**
 * The take seen from another elevation. A camera that stands higher than the plate's shows paws lower and brows nearer;
 * a flat picture can only be stretched. Here the matte is filled with balls (body-volume.ts) and their front surface, z
 * pixels towards the camera, says how far each pixel moves when the camera is lowered by Δ: with the foot as origin and
 * v upwards,
 *   v' = v · cos e' / cos e + z · sin(e − e')
 * (orthographic about the line of sight: an upright of height h stands at v = h cos e, a point c nearer to the camera
 * at v = h cos e − c sin e). A camera that stands nearer than the plate's also shows near parts larger: things z pixels
 * nearer grow by z / focal in each picture, and the difference of the two is taken out. What the take's camera did not
 * see stays unseen.
 */
import { gaussianPlane } from '../../image/gaussian.js';
import { frontOfBalls } from './ball-grids.js';
import { ballsOfMatte, largestOf, type Ball } from './body-volume.js';
import { addDepth, type StandingDepth } from './front-depth.js';
import { putFront } from './measured-front.js';
import { lowerPeaks, slopeInSight } from './foot-line.js';

/**
 * How deep a body is beside a round one of its outline. Four-legged animals that face the lens are longer than wide
 * (our own choice).
 */
const DEPTH = 1.25;

/** Height field of the front surface on a coarse grid, in take pixels. */
export interface FrontField {
  readonly width: number;
  readonly height: number;
  /** Take pixels a cell. */
  readonly cell: number;
  /** Take pixel of the grid's corner. */
  readonly x0: number;
  readonly y0: number;
  readonly z: Float32Array;
}

/** A camera that looks down less than this (radians) tells nothing of how far a foot stands. */
const LEAST_ELEVATION = 0.08;

/**
 * Front surface of the matte (alpha over width × height, its corner at x0, y0 in the take). Where the camera looks down
 * on the floor by `elevation` (radians; 0: no floor) and the feet stand at several depths the surface is inclined along
 * them (foot-line.ts). Null for an empty matte.
 */
export function frontField(
  alpha: Float32Array,
  width: number,
  height: number,
  x0: number,
  y0: number,
  elevation = 0,
  standing: StandingDepth | null = null,
): FrontField | null {
  const balls = ballsOfMatte(alpha, width, height);
  if (balls.length === 0) return null;
  const cell = Math.max(1, Math.floor(height / 110));
  const pad = 6;
  const w = Math.ceil(width / cell) + 2 * pad,
    h = Math.ceil(height / cell) + 2 * pad;
  const biggest = largestOf(balls);
  const slope =
    standing === null && elevation > LEAST_ELEVATION
      ? slopeInSight(lowerPeaks(balls, 0, width, height), elevation, height)
      : 0;
  // The body's middle column stays where it is.
  const z = frontOfBalls(balls, w, h, {
    cell,
    pad,
    scale: DEPTH,
    tilt: slope,
    middle: slope === 0 ? 0 : middleOf(balls),
  });
  // Smooth enough that no line of sight crosses the surface twice.
  const smooth = gaussianPlane(z, w, h, Math.max(1.5, (0.07 * biggest) / cell));
  // What the take told of the depth stands for the line through the feet, which is a guess at it.
  if (standing !== null) {
    const field = { z: smooth, w, h, cell, x0: x0 - pad * cell, y0: y0 - pad * cell, tall: heightOf(balls) };
    addDepth(field, standing);
    putFront(field, standing);
  }
  return { width: w, height: h, cell, x0: x0 - pad * cell, y0: y0 - pad * cell, z: smooth };
}

/** Rows of a body. */
function heightOf(balls: readonly Ball[]): number {
  let top = Infinity,
    low = -Infinity;
  for (const b of balls) {
    top = Math.min(top, b.y - b.r);
    low = Math.max(low, b.y + b.r);
  }
  return low - top;
}

/** Middle column of a body, its thick parts counting most. */
function middleOf(balls: readonly Ball[]): number {
  let mid = 0,
    weight = 0;
  for (const b of balls) {
    mid += b.x * b.r;
    weight += b.r;
  }
  return mid / weight;
}

/** z at a take pixel, bilinear, 0 outside. */
export function frontAt(f: FrontField, x: number, y: number): number {
  const u = (x - f.x0) / f.cell - 0.5,
    v = (y - f.y0) / f.cell - 0.5;
  const i = Math.floor(u),
    j = Math.floor(v);
  if (i < 0 || j < 0 || i >= f.width - 1 || j >= f.height - 1) return 0;
  const tx = u - i,
    ty = v - j,
    o = j * f.width + i;
  const z = f.z;
  return (z[o]! * (1 - tx) + z[o + 1]! * tx) * (1 - ty) + (z[o + f.width]! * (1 - tx) + z[o + f.width + 1]! * tx) * ty;
}
