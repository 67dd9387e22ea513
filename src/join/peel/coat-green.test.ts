/** A coat's own green is held against balls of known reflectance, lit by a key, fill and a green floor's light. */
import { describe, expect, it } from 'vitest';
import { coatGreen, greenAt, PALENESS, USUAL_GREEN } from './coat-green.js';
import { balls, SIDE, type Rgb } from './made-balls.js';

const CLOTH = [0.04, 0.4, 0.1] as const;

/** Reflectance whose green lies so far from the mean of red and blue towards red, in square-root light. */
function coatOf(share: number, paleness = 0.65): Rgb {
  const r = 0.65,
    b = paleness * r,
    g = 0.5 * (r + b) + share * (r - b);
  return [r * r, g * g, b * b];
}

const told = (coats: readonly Rgb[], cloth: Rgb = CLOTH): ReturnType<typeof coatGreen> => {
  const { analysis, alpha } = balls(coats, cloth);
  return coatGreen(analysis, alpha, SIDE * coats.length, [0, 0, SIDE * coats.length, SIDE]);
};

describe("a coat's own green before a green screen", () => {
  it('is told of reddish and of yellowish coats, nearer than their mean', () => {
    // Half of what falls on these balls from below is the floor's: more than most takes show where they are lit.
    for (const share of [-0.16, -0.1, 0.08]) {
      const found = greenAt(told([coatOf(share)]), 0.65);
      expect(Math.abs(found - share)).toBeLessThan(0.6 * Math.abs(share));
    }
  });

  it('is told apart of two coats of different paleness', () => {
    const found = told([coatOf(-0.15, 0.45), coatOf(0.09, 0.73)]);
    expect(greenAt(found, 0.45)).toBeLessThan(-0.1);
    expect(greenAt(found, 0.73)).toBeGreaterThan(0.05);
  });

  it('is what is usual where nothing solid is seen, and where all is grey', () => {
    const { analysis } = balls([coatOf(-0.16)], CLOTH),
      nothing = coatGreen(analysis, new Float32Array(SIDE * SIDE), SIDE, [0, 0, SIDE, SIDE]);
    expect(nothing).toEqual(USUAL_GREEN);
    expect(told([[0.3, 0.3, 0.3]], [0, 0, 0])).toEqual(USUAL_GREEN);
  });

  it('never is held for greener than white, however much the cloth throws back', () => {
    const found = told([coatOf(0.05)], [0.1, 4, 0.2]);
    for (const alike of [0.3, ...PALENESS, 0.95]) expect(greenAt(found, alike)).toBeLessThanOrEqual(0.14);
  });

  it('goes in proportion between the palenesses that it is told at', () => {
    const at = [-0.1, 0, 0.04, 0.1] as const;
    PALENESS.forEach((p, k) => expect(greenAt(at, p)).toBeCloseTo(at[k]!, 6));
    expect(greenAt(at, 0.525)).toBeCloseTo(-0.05, 6);
    expect(greenAt(at, 0.2)).toBeCloseTo(-0.1, 6);
    expect(greenAt(at, 1)).toBeCloseTo(0.14, 6);
  });
});
