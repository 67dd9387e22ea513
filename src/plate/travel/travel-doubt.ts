/**
 * How far a travelling camera's way may be trusted: what its ground would be off by without it, and what the view's
 * own doubt does to it.
 */
import { apply, invert, multiply, type Mat3 } from '../../geometry/mat3.js';
import { chain, inversePose, movedPlane, planeHomographyCentred } from './travel-pose.js';
import type { Ground, Lens, TravelKey, TravelSight } from './travel-ground.js';

/** The ground as it was followed, and both readings of its motion. */
export interface FollowedGround {
  readonly keys: readonly TravelKey[];
  readonly sights: readonly TravelSight[];
  readonly ground: Ground;
  /** Focal length, px. */
  readonly focal: number;
  /** The set's motion from the first frame. */
  readonly set: (frame: number) => Mat3;
  /** From the picture's middle to its corner. */
  readonly pixels: (m: Mat3) => Mat3;
}

/**
 * How far the ground's own pieces lie from where the set's motion takes them, and from where the way does, px:
 * medians of a frame, their means over the shot. A hand-held camera over grass has its ground for a set; a way
 * fitted to the few pieces that agree with an unsure view then only carries a foot astray (a real clip: .5 px by
 * the set, .6 by a way that took a foot 110 px off).
 */
export function groundMiss({ keys, sights, ground, focal, set, pixels }: FollowedGround): {
  set: number;
  way: number;
} {
  let bySet = 0;
  let byWay = 0;
  for (const s of sights) {
    const key = keys[s.key]!;
    const plane = movedPlane(ground.n, ground.d, key.pose);
    const p = chain(s.pose, inversePose(key.pose));
    const own = s.matches.filter((m) => key.ground.has(m.patch));
    if (own.length === 0) continue;
    const miss = (h: Mat3): number => {
      const all = own
        .map((m) => {
          const at = key.patches.patches[m.patch]!;
          const q = apply(h, at[0], at[1]);
          return Math.hypot(q[0] - m.x, q[1] - m.y);
        })
        .sort((a, b) => a - b);
      return all[all.length >> 1]!;
    };
    bySet += miss(multiply(set(s.frame), invert(set(key.frame))));
    byWay += miss(pixels(planeHomographyCentred(p, plane.n, plane.d, focal)));
  }
  return { set: bySet / sights.length, way: byWay / sights.length };
}

/**
 * By what share the way is wrong for each radian that the ground's tilt is: a point seen at an angle
 * α under the horizon is δ / α nearer or farther.
 */
export function leverOf(key: TravelKey, ground: Ground, { focal, cx, cy }: Lens): number {
  let sum = 0;
  let n = 0;
  for (const p of key.ground) {
    const at = key.patches.patches[p]!;
    const k = (ground.n[0] * (at[0] - cx) + ground.n[1] * (at[1] - cy)) / focal + ground.n[2];
    if (k > 0.005) {
      sum += 1 / k;
      n++;
    }
  }
  return n === 0 ? 10 : sum / n;
}
