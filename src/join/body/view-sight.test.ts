import { describe, expect, it } from 'vitest';
import { floorBefore, nearerGuess, seenFrom, sightBetween } from './view-sight.js';

/** A pinhole at `distance` that looks at (0, 0) down by `deg`: picture height of a point `a` towards it and `y` up. */
const pinhole = (
  deg: number,
  focal: number,
  distance: number,
  a: number,
  y: number,
): { up: number; perUnit: number } => {
  const e = (deg * Math.PI) / 180,
    depth = distance - a * Math.cos(e) - y * Math.sin(e);
  return { up: (focal * (y * Math.cos(e) - a * Math.sin(e))) / depth, perUnit: focal / depth };
};

describe('an upright body seen from another elevation and distance', () => {
  // A body .8 high: the take from 2.5 at 24°, the plate from 7 at 9°.
  const half = 0.4,
    from = (a: number, y: number) => pinhole(24, 1100, 2.5, a, y),
    to = (a: number, y: number) => pinhole(9, 1000, 7, a, y);
  const length = from(0, half).up - from(0, -half).up,
    shown = to(0, half).up - to(0, -half).up;
  const scale = to(0, 0).perUnit / from(0, 0).perUnit;
  const sight = sightBetween(24, 9, 1100, 1000 / scale, length, shown / scale);
  const z = (a: number): number => (a * from(0, 0).perUnit) / Math.cos((24 * Math.PI) / 180);
  it('goes where two pinholes see it', () => {
    for (const y of [-0.4, -0.1, 0.2, 0.4])
      for (const a of [-0.3, 0, 0.25, 0.4]) {
        const [above, aside] = seenFrom(sight, from(a, y).up - from(0, -half).up, 1, z(a));
        expect(above * scale).toBeCloseTo(to(a, y).up - to(0, -half).up, 1);
        expect(aside * scale).toBeCloseTo(to(a, y).perUnit / from(a, y).perUnit, 3);
      }
  });
  it('leaves foot and top where the marks have them', () => {
    expect(seenFrom(sight, 0, 0, 0)[0]).toBeCloseTo(0, 3);
    expect(seenFrom(sight, length, 0, 0)[0] * scale).toBeCloseTo(shown, 2);
  });
  it('turned about the upright, goes where a pinhole sees it that stands farther round', () => {
    const round = 9,
      turned = sightBetween(24, 9, 1100, 1000 / scale, length, shown / scale, round),
      [c, s] = [Math.cos((round * Math.PI) / 180), Math.sin((round * Math.PI) / 180)];
    for (const y of [-0.4, 0.1, 0.4])
      for (const a of [-0.2, 0, 0.35])
        for (const x of [-0.3, 0.1]) {
          // The camera goes round to the left by looking farther right: depth and place aside of the point from there.
          const near = a * c - x * s,
            beside = x * c + a * s,
            inTake = from(a, y),
            inPlate = to(near, y);
          const [above, aside] = seenFrom(turned, inTake.up - from(0, -half).up, x * inTake.perUnit, z(a));
          expect(above * scale).toBeCloseTo(inPlate.up - to(0, -half).up, 1);
          expect(aside * scale).toBeCloseTo(beside * inPlate.perUnit, 1);
        }
  });
  it('is undone by guesses that come nearer, where the surface bends little', () => {
    const turned = sightBetween(24, 9, 1100, 1000 / scale, length, shown / scale, -9),
      depth = (t: number, s: number): number => 60 - 0.2 * t + 0.3 * s,
      wanted = [120, -35] as const,
      seen = seenFrom(turned, ...wanted, depth(...wanted));
    let guess: [number, number] = [seen[0], seen[1]];
    for (let k = 0; k < 8; k++) guess = nearerGuess(turned, guess, depth(...guess), seen);
    expect(guess[0]).toBeCloseTo(wanted[0], 2);
    expect(guess[1]).toBeCloseTo(wanted[1], 2);
  });
  it('tells how near the floor is below the foot, as a near camera sees it', () => {
    expect(floorBefore(sight, 0)).toBeCloseTo(0, 6);
    for (const a of [0.05, 0.2, 0.35, -0.2]) {
      const t = from(a, -half).up - from(0, -half).up;
      expect(floorBefore(sight, t)).toBeCloseTo(z(a), 0);
      const [above] = seenFrom(sight, t, 0, floorBefore(sight, t));
      expect(above * scale).toBeCloseTo(to(a, -half).up - to(0, -half).up, 1);
    }
  });
});
