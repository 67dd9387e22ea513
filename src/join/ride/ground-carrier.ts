/**
 * How points that lie on the ground are carried by a camera that travels: through the homography that its way induces
 * in the ground's plane (Hartley & Zisserman, *Multiple View Geometry*, 2004, equation 13.2). A homography of the set
 * follows its main plane, mostly a wall far behind, and lets a puddle or a step near the camera slide.
 */
import { invert, multiply, type Mat3 } from '../../geometry/mat3.js';
import {
  AT_HOME,
  chain,
  inversePose,
  movedPlane,
  planeHomographyCentred,
  type Pose,
} from '../../plate/travel/travel-pose.js';
import type { Travel } from '../../plate/types.js';
import type { Carrier } from './carrier.js';

/** Reference: the span's first frame; frames without a pose take the nearest of the span's ends. */
export function groundCarrier(
  travel: Travel,
  span: { readonly in: number; readonly out: number },
  widthPx: number,
  heightPx: number,
): Carrier {
  const poses = new Map<number, Pose>(travel.frames.map((t) => [t.frame, { r: t.rotation, t: t.translation }]));
  const poseAt = (n: number): Pose => poses.get(Math.min(span.out - 1, Math.max(span.in, Math.round(n)))) ?? AT_HOME;
  const first = poseAt(span.in),
    back = inversePose(first),
    plane = movedPlane(travel.groundNormal, travel.height, first);
  const centre: Mat3 = [1, 0, widthPx / 2, 0, 1, heightPx / 2, 0, 0, 1],
    corner = invert(centre);
  const made = new Map<number, Mat3>();
  return {
    at: (n) => {
      const kept = made.get(n);
      if (kept !== undefined) return kept;
      const m = multiply(
        centre,
        multiply(planeHomographyCentred(chain(poseAt(n), back), plane.n, plane.d, travel.focalPx), corner),
      );
      made.set(n, m);
      return m;
    },
  };
}
