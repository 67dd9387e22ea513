/**
 * How an upright thing at one depth moves over the picture as the solved camera passes it: the homography of the plane
 * that stands upright and faces the marked frame's camera at that depth (Hartley & Zisserman, *Multiple View Geometry*,
 * 2004, equation 13.2). One number for the whole shot, sought so that the thing's own colours are found where it puts
 * them.
 */
import { cross, invert, multiply, unit, type Mat3, type Vec3 } from '../../geometry/mat3.js';
import {
  AT_HOME,
  chain,
  inversePose,
  movedPlane,
  planeHomographyCentred,
  type Pose,
} from '../../plate/travel/travel-pose.js';
import type { Travel } from '../../plate/types.js';

/**
 * Moves of what stands `depth` (in the travel's unit) before the marked frame's camera at a place of that frame's
 * picture (full pixels).
 */
export function movesByDepth(
  travel: Travel,
  widthPx: number,
  heightPx: number,
  span: { readonly in: number; readonly out: number },
): (key: number, depth: number, place: readonly [number, number]) => (frame: number) => Mat3 {
  const poses = new Map<number, Pose>(travel.frames.map((t) => [t.frame, { r: t.rotation, t: t.translation }]));
  const poseAt = (n: number): Pose => poses.get(Math.min(span.out - 1, Math.max(span.in, Math.round(n)))) ?? AT_HOME;
  const centre: Mat3 = [1, 0, widthPx / 2, 0, 1, heightPx / 2, 0, 0, 1],
    corner = invert(centre);
  return (key, depth, place) => {
    const at = poseAt(key),
      back = inversePose(at),
      ground = movedPlane(travel.groundNormal, travel.height, at).n;
    // Level towards the camera: across the upright and across the picture's own right.
    const level = unit(cross(cross(ground, [0, 0, 1]), ground)) as Vec3,
      ray: Vec3 = [(place[0] - widthPx / 2) / travel.focalPx, (place[1] - heightPx / 2) / travel.focalPx, 1],
      d = depth * (level[0] * ray[0] + level[1] * ray[1] + level[2] * ray[2]);
    return (frame) =>
      multiply(centre, multiply(planeHomographyCentred(chain(poseAt(frame), back), level, d, travel.focalPx), corner));
  };
}

/** Depths tried, from a tenth of the camera's height over the ground on, each so much farther than the one before. */
const FIRST = 0.15,
  LAST = 40,
  STEP = 1.12;

/**
 * The depth whose moves the pictures like best; null where none is clearly better than the others.
 *
 * @param judge mean evidence of a depth, −1..1
 */
export function soughtDepth(height: number, judge: (depth: number) => number): number | null {
  const tried: { depth: number; got: number }[] = [];
  for (let d = FIRST * height; d < LAST * height; d *= STEP) tried.push({ depth: d, got: judge(d) });
  const best = tried.reduce((a, b) => (b.got > a.got ? b : a));
  let low = best.depth / STEP,
    high = best.depth * STEP,
    got = best.got,
    depth = best.depth;
  for (let k = 0; k < 6; k++) {
    const step = (high - low) / 4;
    for (const d of [low + step, low + 3 * step]) {
      const g = judge(d);
      if (g > got) {
        got = g;
        depth = d;
      }
    }
    low = depth - step;
    high = depth + step;
  }
  return got < 0.2 ? null : depth;
}
