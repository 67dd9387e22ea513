/**
 * Where somebody who stands on the ground is seen from a camera that travels, by the ground about the foot as it was
 * followed (plate/ride/footing.ts). Stands marked on several frames are one place, which the followed ground bore out
 * within what a hand marks: their mean is taken, as a slow drift from one mark's error to the next would show as slip.
 * An upright is as long as a level line through the foot is, since both lie at one depth. It leans as the camera rolls,
 * and that is how the set's level lines turn on the horizon: above and below it they turn as well where the camera goes
 * round. What the marks say of length and lean beyond what a hand marks (a camera that goes round or looks down more
 * steeply as it comes nearer) is laid between them smoothly.
 */
import { smoothCubic } from '../../geometry/cubic-curve.js';
import { apply, invert } from '../../geometry/mat3.js';
import type { RideTrack } from '../../plate/types.js';
import { rideCarrier, type Carrier } from './carrier.js';
import type { Px, Stand } from './ride.js';
import type { Place } from './travel-stand.js';

/** How far a hand marks a top beside its place, px. */
const HAND_PX = 2.5;
/** Half of the level line, px. */
const LEVEL = 2;

/** A level line through a place: how long (over that of the reference) and how turned it is on a frame. */
function levelLine(carrier: Carrier, at: Px, frame: number): { readonly size: number; readonly turn: number } {
  const m = carrier.at(frame),
    a = apply(m, at[0] - LEVEL, at[1]),
    b = apply(m, at[0] + LEVEL, at[1]);
  return { size: Math.hypot(b[0] - a[0], b[1] - a[1]) / (2 * LEVEL), turn: Math.atan2(b[1] - a[1], b[0] - a[0]) };
}

/**
 * One number of the marks on any frame: their mean where they differ by no more than `hand`, else smoothly from one to
 * the next.
 */
function between(frames: readonly number[], values: readonly number[], hand: number): (frame: number) => number {
  const mean = values.reduce((sum, v) => sum + v, 0) / values.length;
  return values.every((v) => Math.abs(v - mean) <= hand) ? () => mean : smoothCubic(frames, values);
}

const lengthOf = (s: Stand): number => Math.hypot(s.top[0] - s.ground[0], s.top[1] - s.ground[1]);

/**
 * Ground and top on any frame of the track, px.
 *
 * @param stands marks of one performer, at least one
 * @param set the set's own motion (reference: any frame)
 * @param horizonPx row of the horizon on the footing's frame
 */
export function footingPlace(stands: readonly Stand[], footing: RideTrack, set: Carrier, horizonPx: number): Place {
  const ground = rideCarrier(footing),
    sorted = [...stands].sort((a, b) => a.frame - b.frame),
    frames = sorted.map((s) => s.frame);
  const feet = sorted.map((s) => apply(invert(ground.at(s.frame)), s.ground[0], s.ground[1])),
    foot: [number, number] = [
      feet.reduce((sum, f) => sum + f[0], 0) / feet.length,
      feet.reduce((sum, f) => sum + f[1], 0) / feet.length,
    ];
  const inSet = apply(invert(set.at(footing.atFrame)), foot[0], horizonPx),
    roll = (n: number): number => levelLine(set, inSet, n).turn;
  const hand = HAND_PX / (sorted.reduce((sum, s) => sum + lengthOf(s), 0) / sorted.length);
  const lnLength = between(
      frames,
      sorted.map((s) => Math.log(lengthOf(s) / levelLine(ground, foot, s.frame).size)),
      hand,
    ),
    // From straight up, so that no turn runs over a half circle.
    lean = between(
      frames,
      sorted.map((s) => Math.atan2(s.top[0] - s.ground[0], s.ground[1] - s.top[1]) - roll(s.frame)),
      hand,
    );
  return (n) => {
    const at = apply(ground.at(n), foot[0], foot[1]),
      long = Math.exp(lnLength(n)) * levelLine(ground, foot, n).size,
      angle = lean(n) + roll(n);
    return { ground: at, top: [at[0] + long * Math.sin(angle), at[1] - long * Math.cos(angle)] };
  };
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
