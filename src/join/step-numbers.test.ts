/** A step's numbers written and read back; exposure doubles, and warmth keeps BT.709's luminance. */
import { describe, expect, it } from 'vitest';
import { stepNumber, withStepNumber } from './step-numbers.js';
import type { RecipeStep } from './types.js';

const light = {
  step: 'light',
  on: true,
  why: '',
  slope: [1.1, 0.9, 0.8],
  offset: [0, 0, 0],
  power: [1, 1, 1],
  saturation: 1,
} as RecipeStep;

describe('numbers of a step that a hand turns', () => {
  it("reads back what was set, in the step, in a part of it, and in the light's slopes", () => {
    const ride = {
      step: 'ride',
      on: true,
      why: '',
      motionBlur: 10,
      stir: { amplitudePx: 2, rateHz: 1 },
    } as unknown as RecipeStep;
    expect(stepNumber(withStepNumber(ride, 'motionBlur', 90), 'motionBlur')).toBe(90);
    const turned = withStepNumber(ride, 'stir.amplitudePx', 5);
    expect(stepNumber(turned, 'stir.amplitudePx')).toBe(5);
    expect(stepNumber(turned, 'stir.rateHz')).toBe(1);
    expect(stepNumber(ride, 'stir.amplitudePx')).toBe(2);
    expect(stepNumber(ride, 'stir.nothing')).toBeUndefined();
    for (const key of ['exposureStops', 'warmthStops'])
      for (const v of [-1.5, 0, 0.35]) expect(stepNumber(withStepNumber(light, key, v), key)).toBeCloseTo(v, 9);
  });
  it('a stop more of exposure doubles every slope; warmth leaves the luminance (Rec. 709) and the exposure as they were', () => {
    const base = (light as unknown as { slope: number[] }).slope,
      now = stepNumber(light, 'exposureStops')!;
    expect((withStepNumber(light, 'exposureStops', now + 1) as unknown as { slope: number[] }).slope).toEqual(
      base.map((v) => expect.closeTo(2 * v, 9)),
    );
    const warm = withStepNumber(light, 'warmthStops', 1);
    const [r, , b] = (warm as unknown as { slope: number[] }).slope;
    expect(r! / b!).toBeCloseTo(2, 9);
    expect(stepNumber(warm, 'exposureStops')).toBeCloseTo(now, 9);
  });
});
