/**
 * Where somebody who stands on the ground is seen from a camera that travels, by the ground about the foot as it was
 * followed (plate/ride/footing.ts). Stands marked on several frames are one place, which the followed ground bore out:
 * they are brought to where they most likely are first (likely-stands.ts), as a slow drift from one mark's error to the
 * next would show as slip. An upright is as long as a level line through the foot is, since both lie at one depth. It leans as the camera rolls,
 * and that is how the set's level lines turn on the horizon: above and below it they turn as well where the camera goes
 * round. What the marks say of length and lean beyond what a hand marks (a camera that goes round or looks down more
 * steeply as it comes nearer) is laid between them smoothly.
 */
import { smoothCubic } from '../../geometry/cubic-curve.js';
import { apply, invert } from '../../geometry/mat3.js';
import type { RideTrack } from '../../plate/types.js';
import { rideCarrier, type Carrier } from './carrier.js';
import type { Told } from './likely-stands.js';
import type { Px, Stand } from './ride.js';
import type { Place } from './travel-stand.js';

/** Half of the level line, px. */
const LEVEL = 2;

/** A level line through a place: how long (over that of the reference) and how turned it is on a frame. */
function levelLine(carrier: Carrier, at: Px, frame: number): { readonly size: number; readonly turn: number } {
  const m = carrier.at(frame),
    a = apply(m, at[0] - LEVEL, at[1]),
    b = apply(m, at[0] + LEVEL, at[1]);
  return { size: Math.hypot(b[0] - a[0], b[1] - a[1]) / (2 * LEVEL), turn: Math.atan2(b[1] - a[1], b[0] - a[0]) };
}

/** A place on the followed ground: its foot on the frame the track counts from, how long and how turned its upright is. */
interface OnGround {
  readonly foot: Px;
  /** ln of the upright's length over that of a level line of 1 px through the foot, and its lean beside the roll. */
  readonly lnLength: number;
  readonly lean: number;
}

/** How the followed ground shows a place on any frame, and what a mark there says of it. */
class FollowedGround {
  readonly ground: Carrier;
  private readonly inSet: Px;
  private readonly set: Carrier;

  constructor(footing: RideTrack, set: Carrier, horizonPx: number, near: Px) {
    this.ground = rideCarrier(footing);
    this.set = set;
    this.inSet = apply(invert(set.at(footing.atFrame)), near[0], horizonPx);
  }

  private roll(n: number): number {
    return levelLine(this.set, this.inSet, n).turn;
  }

  placeOf(s: Stand): OnGround {
    const foot = apply(invert(this.ground.at(s.frame)), s.ground[0], s.ground[1]);
    return {
      foot,
      lnLength: Math.log(Math.hypot(s.top[0] - s.ground[0], s.top[1] - s.ground[1]) / this.size(foot, s.frame)),
      // From straight up, so that no turn runs over a half circle.
      lean: Math.atan2(s.top[0] - s.ground[0], s.ground[1] - s.top[1]) - this.roll(s.frame),
    };
  }

  size(foot: Px, n: number): number {
    return levelLine(this.ground, foot, n).size;
  }

  seen({ foot, lnLength, lean }: OnGround, n: number): ReturnType<Place> {
    const at = apply(this.ground.at(n), foot[0], foot[1]),
      long = Math.exp(lnLength) * this.size(foot, n),
      angle = lean + this.roll(n);
    return { ground: at, top: [at[0] + long * Math.sin(angle), at[1] - long * Math.cos(angle)] };
  }
}

/** @param stands on one frame each, in the order of frames */
function followedGround(stands: readonly Stand[], footing: RideTrack, set: Carrier, horizonPx: number) {
  const carrier = rideCarrier(footing),
    feet = stands.map((s) => apply(invert(carrier.at(s.frame)), s.ground[0], s.ground[1]));
  const on = new FollowedGround(footing, set, horizonPx, [
      meanOf(feet.map((f) => f[0])),
      meanOf(feet.map((f) => f[1])),
    ]),
    places = stands.map((s) => on.placeOf(s));
  return { on, places };
}

const meanOf = (v: readonly number[]): number => v.reduce((sum, x) => sum + x, 0) / v.length;

/** The stands as one place of the followed ground shows on their frames, for how they depart from it (likely-stands.ts). */
export function toldByFooting(stands: readonly Stand[], footing: RideTrack, set: Carrier, horizonPx: number): Told[] {
  const { on, places } = followedGround(stands, footing, set, horizonPx);
  const one: OnGround = {
    foot: [meanOf(places.map((p) => p.foot[0])), meanOf(places.map((p) => p.foot[1]))],
    lnLength: meanOf(places.map((p) => p.lnLength)),
    lean: meanOf(places.map((p) => p.lean)),
  };
  return stands.map(({ frame }) => {
    const { ground, top } = on.seen(one, frame),
      size = on.size(one.foot, frame);
    const moved = ([x, y]: Px): readonly [number, number, number, number] => {
      const to = on.seen({ ...one, foot: [one.foot[0] + x, one.foot[1] + y] }, frame);
      return [to.ground[0] - ground[0], to.ground[1] - ground[1], to.top[0] - top[0], to.top[1] - top[1]];
    };
    return { ground, top, moved: [moved([1, 0]), moved([0, 1]), [0, 0, size, 0], [0, 0, 0, size]] };
  });
}

/**
 * Ground and top on any frame of the track, px: through the stands, whose places on the followed ground go smoothly
 * from one to the next.
 *
 * @param stands marks of one performer, at least one, freed of the hand's error
 * @param set the set's own motion (reference: any frame)
 * @param horizonPx row of the horizon on the footing's frame
 */
export function footingPlace(stands: readonly Stand[], footing: RideTrack, set: Carrier, horizonPx: number): Place {
  const sorted = [...stands].sort((a, b) => a.frame - b.frame),
    frames = sorted.map((s) => s.frame),
    { on, places } = followedGround(sorted, footing, set, horizonPx);
  const along = (of: (p: OnGround) => number): ((n: number) => number) => smoothCubic(frames, places.map(of));
  const x = along((p) => p.foot[0]),
    y = along((p) => p.foot[1]),
    lnLength = along((p) => p.lnLength),
    lean = along((p) => p.lean);
  return (n) => on.seen({ foot: [x(n), y(n)], lnLength: lnLength(n), lean: lean(n) }, n);
}

/** A track that is said to be surer than this, px, is not told apart by its confidence. */
const LEAST_SD_PX = 0.1;

/**
 * Where the followed ground is known least, and how well there: the confidence is the chance that its corners lie
 * within a pixel, which for a Gaussian error of sd s on each axis is 1 − exp(−1 / 2s²) (Rayleigh's distribution).
 *
 * @returns frame and sd on each axis, px; null where the ground is seen on no frame
 */
export function leastSureFooting(footing: RideTrack): { readonly frame: number; readonly sdPx: number } | null {
  const seen = footing.frames.filter((f) => f.visible && f.frame !== footing.atFrame);
  if (seen.length === 0) return null;
  const least = seen.reduce((a, b) => (b.confidence < a.confidence ? b : a)),
    within = Math.min(1 - 1e-12, Math.max(1e-3, least.confidence));
  return { frame: least.frame, sdPx: Math.max(LEAST_SD_PX, 1 / Math.sqrt(-2 * Math.log(1 - within))) };
}
