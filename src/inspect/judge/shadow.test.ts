/** The plate's own shadow is held against only where it tells. */
import { describe, expect, it } from 'vitest';
import { judge } from '../verdict.js';
import { at, blank, recipe } from './made-readings.js';

describe('how dark a shadow should be', () => {
  const ground = {
    step: 'ground',
    on: true,
    why: '',
    shadow: true,
    contact: false,
    azimuthDeg: 40,
    elevationDeg: 30,
    transmission: [0.2, 0.2, 0.25],
    softnessDeg: 0.5,
    contactStrength: 0,
    focalPx: 400,
    frames: [],
    receiver: 'ground',
    litLinear: [0.3, 0.28, 0.26],
  } as const;
  const shadow = (measuredOn: readonly [number, number, number] | null | undefined, stops: number) =>
    judge(
      { ...blank(), readings: { shadow: at(4, 5, 4), shadowStops: at(stops, stops, stops) } },
      { ...recipe, steps: [...recipe.steps, { ...ground, ...(measuredOn === undefined ? {} : { measuredOn }) }] },
    ).matters.find((m) => m.matter === 'shadow')!;
  it("is judged beside the plate's own on like ground", () => {
    for (const on of [undefined, [0.25, 0.23, 0.22]] as const) {
      expect(shadow(on, 1).passes).toBe(false);
      expect(shadow(on, 1).advice).toContain('1.0 stops lighter');
      expect(shadow(on, -1).passes).toBe(false);
      expect(shadow(on, 0.3).passes).toBe(true);
    }
  });
  it('is said to lie by a key that a hand turned', () => {
    const turned = (azimuthDeg: number) =>
      judge(
        { ...blank(), readings: { shadow: at(4, 5, 4) } },
        { ...recipe, steps: [...recipe.steps, { ...ground, azimuthDeg, proposedAzimuthDeg: 40 }] },
      ).matters.find((m) => m.matter === 'shadow')!;
    expect(turned(-40).passes).toBe(true);
    expect(turned(-40).untold).toContain('-40° by hand, where 40° was measured');
    expect(turned(50).untold).toBeUndefined();
    expect(turned(390).untold).toBeUndefined();
  });
  it('is not judged where no shadow of the plate tells it, or one on other ground', () => {
    for (const on of [null, [0.05, 0.046, 0.04], [0.2, 0.3, 0.1]] as const) {
      const m = shadow(on, 1);
      expect(m.passes).toBe(true);
      expect(m.needed).toContain('not judged');
    }
  });
});
