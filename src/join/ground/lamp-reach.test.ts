/** A near lamp's light against the law of inverse squares and cosines, worked out by hand. */
import { describe, expect, it } from 'vitest';
import { missingAt, thinAt, timesAsBright } from './lamp-reach.js';
import type { ThinShadow } from './thin-shadow.js';

describe('light of a lamp that stands near, at one place beside another', () => {
  it('goes with the square of its distance and with the cosine on level ground', () => {
    // Under the lamp, and a metre aside of two metres' height: the cube of the cosine, the law of level ground under a
    // point.
    expect(timesAsBright({ at: [0, 2, 0] }, [0, 0, 0], [1, 0, 0])).toBeCloseTo((2 / Math.sqrt(5)) ** 3, 10);
    expect(timesAsBright({ at: [0, 2, 0] }, [1, 0, 0], [0, 0, 0])).toBeCloseTo((Math.sqrt(5) / 2) ** 3, 10);
    // No more is believed than three times or a third.
    expect(timesAsBright({ at: [0, 1, 0] }, [0, 0, 0], [9, 0, 0])).toBeCloseTo(1 / 3, 10);
  });

  it('a shadow farther off is lighter by what the rest of the light is there', () => {
    // Key 3 and fill 1: 3/4 missing; half the key leaves 1.5 of 2.5.
    expect(missingAt(0.75, 0.5)).toBeCloseTo(0.6, 10);
    expect(missingAt(0.6, 2)).toBeCloseTo(0.75, 10);
    // What cannot be a share stays as it was read.
    expect(missingAt(-0.1, 2)).toBe(-0.1);
    expect(missingAt(1.1, 2)).toBe(1.1);
    const t: ThinShadow = {
      missing: [0.75, 0.5, 0],
      litLinear: [1, 1, 1],
      places: 20,
      thickPx: 5,
      widePx: 5,
      sd: [0, 0, 0],
      peak: { missing: [0.75, 0.5, 0], sd: [0, 0, 0], px: 2 },
    };
    for (const m of [thinAt(t, 0.5).missing, thinAt(t, 0.5).peak!.missing]) {
      expect(m[0]).toBeCloseTo(0.6, 10);
      expect(m[1]).toBeCloseTo(1 / 3, 10);
      expect(m[2]).toBe(0);
    }
  });
});
