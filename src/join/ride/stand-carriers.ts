/**
 * The performer's marks brought to where it most likely stands (likely-stands.ts), each with what may carry it: the
 * camera's way over the ground, or a motion of the set or of the ground about the foot. How far each may depart from
 * what carries it, before the marks are looked at, are own choices.
 */
import { apply, invert } from '../../geometry/mat3.js';
import type { RideTrack, Travel } from '../../plate/types.js';
import type { Carrier } from './carrier.js';
import { toldByFooting } from './footing-place.js';
import { likelyStands, type LikelyStands, type Departures, type Told } from './likely-stands.js';
import type { Stand } from './ride.js';
import { travelPath, type Plate } from './travel-stand.js';

/** The way is never quite right: a push over three metres by some px. Who walks goes farther. */
const BY_WAY: Departures = {
  together: 0.9,
  sizes: [
    [0.3, 0.1],
    [0.7, 0.2],
    [1.5, 0.25],
    [3, 0.2],
    [6, 0.1],
    [12, 0.05],
    [25, 0.04],
    [50, 0.03],
    [100, 0.03],
  ],
};
/** What a camera that stands or turns sees of a standing foot goes with the set to a fraction of a pixel. */
const BY_SET: Departures = {
  together: 0.97,
  sizes: [
    [0, 0.5],
    [0.5, 0.1],
    [4, 0.06],
    [8, 0.06],
    [16, 0.06],
    [32, 0.06],
    [64, 0.06],
    [128, 0.06],
    [256, 0.04],
  ],
};
/** The followed ground has borne the place out: who leaves it walks a good way. */
const BY_FOOTING: Departures = {
  together: 0.9,
  sizes: [
    [0, 0.8],
    [8, 0.05],
    [16, 0.05],
    [32, 0.05],
    [64, 0.05],
  ],
};
/** Where the camera travels, what stands nearer or farther than the set's main plane goes otherwise. */
const BY_FAR_SET: Departures = {
  together: 0.9,
  sizes: [
    [0.5, 0.05],
    [1, 0.1],
    [2, 0.1],
    [4, 0.1],
    [8, 0.15],
    [16, 0.15],
    [32, 0.15],
    [64, 0.1],
    [128, 0.07],
    [256, 0.03],
  ],
};

/** The stands by the camera's way; null where it can't tell them. */
export function byWay(stands: readonly Stand[], travel: Travel, set: Carrier, plate: Plate): LikelyStands | null {
  const path = travelPath(stands, travel, set, plate);
  if (path === null) return null;
  const told = stands.map(
    (s): Told => ({
      ground: path.ground(s.frame),
      top: path.top(s.frame),
      moved: path.moved(s.frame),
    }),
  );
  return likelyStands(stands, told, BY_WAY, plate.widthPx);
}

/** The stands by the ground about the foot. @param horizonPx row of the horizon on the footing's frame */
export function byFooting(
  stands: readonly Stand[],
  footing: RideTrack,
  set: Carrier,
  horizonPx: number,
  widthPx: number,
): LikelyStands {
  return likelyStands(stands, toldByFooting(stands, footing, set, horizonPx), BY_FOOTING, widthPx);
}

/** The stands by a motion of the picture. @param travels the camera does, so that foot and set go otherwise */
export function bySet(stands: readonly Stand[], carrier: Carrier, travels: boolean, widthPx: number): LikelyStands {
  const rests = stands.map((s) => {
    const back = invert(carrier.at(s.frame));
    return [...apply(back, ...s.ground), ...apply(back, ...s.top)] as const;
  });
  const mean = [0, 1, 2, 3].map((c) => rests.reduce((sum, r) => sum + r[c]!, 0) / rests.length);
  const told = stands.map((s): Told => {
    const m = carrier.at(s.frame),
      at = (x: number, y: number): [number, number] => apply(m, x, y),
      [gx, gy, tx, ty] = mean as [number, number, number, number];
    const ground = at(gx, gy),
      top = at(tx, ty),
      less = (a: readonly number[], b: readonly number[]): [number, number] => [a[0]! - b[0]!, a[1]! - b[1]!];
    return {
      ground,
      top,
      moved: [
        [...less(at(gx + 1, gy), ground), 0, 0],
        [...less(at(gx, gy + 1), ground), 0, 0],
        [0, 0, ...less(at(tx + 1, ty), top)],
        [0, 0, ...less(at(tx, ty + 1), top)],
      ],
    };
  });
  return likelyStands(stands, told, travels ? BY_FAR_SET : BY_SET, widthPx);
}
