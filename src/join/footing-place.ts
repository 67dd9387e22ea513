/**
 * Where somebody who stands on the ground is seen from a camera that travels, by the ground about the foot as it was followed
 * (plate/footing.ts). The foot goes with the ground's plane; an upright of one depth turns and grows as a level line through the foot
 * does. Stands marked on several frames are one place, which the followed ground bore out within what a hand marks: their mean is taken, as a
 * slow drift from one mark's error to the next would show as slip.
 */
import { apply, invert } from '../geometry/mat3.js';
import type { RideTrack } from '../plate/types.js';
import { rideCarrier, type Carrier } from './carrier.js';
import type { Px, Stand } from './ride.js';
import type { Place } from './travel-stand.js';

/** Half of the level line, px. */
const LEVEL = 2;

/** A level line through the foot: how long (over that of the reference) and how turned it is on a frame. */
function levelLine(carrier: Carrier, foot: Px, frame: number): { readonly size: number; readonly turn: number } {
  const m = carrier.at(frame),
    a = apply(m, foot[0] - LEVEL, foot[1]),
    b = apply(m, foot[0] + LEVEL, foot[1]);
  return { size: Math.hypot(b[0] - a[0], b[1] - a[1]) / (2 * LEVEL), turn: Math.atan2(b[1] - a[1], b[0] - a[0]) };
}

/** An upright's foot and top as seen from the reference frame. */
interface AtHome {
  readonly foot: [number, number];
  readonly lnLength: number;
  /** Direction of the top from the foot, radians. */
  readonly lean: number;
}

/** Ground and top on any frame of the track. `stands`: marks of one performer, at least one. */
export function footingPlace(stands: readonly Stand[], footing: RideTrack): Place {
  const carrier = rideCarrier(footing);
  const home: AtHome[] = stands.map((s) => {
    const foot = apply(invert(carrier.at(s.frame)), s.ground[0], s.ground[1]),
      line = levelLine(carrier, foot, s.frame);
    return {
      foot,
      lnLength: Math.log(Math.hypot(s.top[0] - s.ground[0], s.top[1] - s.ground[1]) / line.size),
      lean: Math.atan2(s.top[1] - s.ground[1], s.top[0] - s.ground[0]) - line.turn,
    };
  });
  const mean = (of: (h: AtHome) => number): number => home.reduce((sum, h) => sum + of(h), 0) / home.length;
  const foot: [number, number] = [mean((h) => h.foot[0]), mean((h) => h.foot[1])],
    length = Math.exp(mean((h) => h.lnLength)),
    lean = Math.atan2(
      mean((h) => Math.sin(h.lean)),
      mean((h) => Math.cos(h.lean)),
    );
  return (n) => {
    const ground = apply(carrier.at(n), foot[0], foot[1]),
      line = levelLine(carrier, foot, n),
      l = length * line.size;
    return {
      ground,
      top: [ground[0] + l * Math.cos(lean + line.turn), ground[1] + l * Math.sin(lean + line.turn)],
    };
  };
}
