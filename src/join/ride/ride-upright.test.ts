/** Tracks of known homographies: the carrier that an upright gets against them. */
import { describe, expect, it } from 'vitest';
import { mapTuple } from '../../core/tuples.js';
import { homographyFromQuad } from '../../geometry/homography.js';
import { apply, type Mat3 } from '../../geometry/mat3.js';
import type { RideTrack } from '../../plate/types.js';
import { carryStand, type Stand } from './ride.js';
import { rideCarrier } from './carrier.js';
import { similarCarrier, unsureRide, uprightRide } from './ride-upright.js';

const QUAD = [
    [100, 100],
    [160, 100],
    [160, 170],
    [100, 170],
  ] as const,
  STAND: Stand = { frame: 0, ground: [196, 240], top: [193, 100] };

function track(homographies: readonly Mat3[], confidence = 1): RideTrack {
  return {
    atFrame: 0,
    model: 'perspective',
    frames: homographies.map((homography, frame) => ({
      frame,
      homography,
      confidence: frame === 0 ? 1 : confidence,
      visible: true,
      corners: mapTuple(QUAD, ([x, y]) => apply(homography, x, y)),
    })),
  };
}
const I: Mat3 = [1, 0, 0, 0, 1, 0, 0, 0, 1];

describe('a followed region that carries an upright', () => {
  it('is a similarity exactly where the region moves by one', () => {
    const c = 1.2 * Math.cos(0.3),
      s = 1.2 * Math.sin(0.3),
      m: Mat3 = [c, -s, 14, s, c, -9, 0, 0, 1];
    const a = similarCarrier(track([I, m])).at(1);
    for (const [x, y] of [
      [0, 0],
      [300, 20],
      [50, 400],
    ] as const)
      expect(Math.hypot(apply(a, x, y)[0] - apply(m, x, y)[0], apply(a, x, y)[1] - apply(m, x, y)[1])).toBeLessThan(
        1e-9,
      );
  });

  it('keeps the homography of a gentle perspective and leaves one that would bend the upright', () => {
    const gentle: Mat3 = [1.02, 0.01, 3, 0, 1.03, 2, 2e-5, 1e-5, 1],
      wild = homographyFromQuad(QUAD, [
        [104, 112],
        [156, 92],
        [156, 178],
        [104, 158],
      ])!;
    expect(uprightRide(track([I, gentle]), [STAND]).at(1)).toEqual(rideCarrier(track([I, gentle])).at(1));
    const length = (p: { ground: readonly [number, number]; top: readonly [number, number] }): number =>
      Math.hypot(p.top[0] - p.ground[0], p.top[1] - p.ground[1]);
    const own = length(STAND),
      far = carryStand([STAND], rideCarrier(track([I, wild])))(1),
      near = carryStand([STAND], uprightRide(track([I, wild]), [STAND]))(1);
    expect(length(far) / own).toBeGreaterThan(1.5);
    expect(Math.abs(Math.log(length(near) / own))).toBeLessThan(Math.log(1.5));
  });

  it('asks for more marks where it is hardly followed and marked on few frames', () => {
    const many = Array.from({ length: 30 }, () => I);
    expect(unsureRide(track(many, 0.05), [STAND])).toMatch(/surely followed on 1 of 30 frames/);
    expect(unsureRide(track(many, 0.9), [STAND])).toBe('');
    expect(
      unsureRide(
        track(many, 0.05),
        [0, 10, 20].map((frame) => ({ ...STAND, frame })),
      ),
    ).toBe('');
  });
});
