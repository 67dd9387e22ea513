/** What is named of a picture that is the recipe's own. */
import { describe, expect, it } from 'vitest';
import type { Series } from '../reader/series.js';
import type { InspectionMatterName } from '../types.js';
import { judge } from '../verdict.js';
import { at, blank, recipe } from './made-readings.js';

describe("beside the take, of the recipe's own picture", () => {
  const own = (readings: Series['readings']) =>
    judge({ ...blank(), readings: { explained: at(0.99, 0.99, 0.99), exposure: at(0, 0, 0), ...readings } }, recipe);
  const of = (readings: Series['readings'], matter: InspectionMatterName) =>
    own(readings).matters.find((m) => m.matter === matter)!;
  it('a softening fails, and so does a sharpening', () => {
    expect([0.8, 0.98, 1.02, 1.25].map((v) => of({ takeBlur: at(v, v, v) }, 'blur').passes)).toEqual([
      false,
      true,
      true,
      false,
    ]);
  });
  it("what is soft along one direction alone is motion, and the ride's", () => {
    const blur = (along: number, across: number) =>
      of(
        {
          takeBlur: at(1.2, 1.2, 1.2),
          softAlong: at(along, along, along),
          softAcross: at(across, across, across),
          softDeg: at(30, 30, 30),
        },
        'blur',
      );
    expect([blur(0.45, 0.8).step, blur(0.5, 0.55).step]).toEqual(['ride', 'air']);
    expect(blur(0.45, 0.8).advice).toContain('30°');
  });
  it('grain is missing where its own draw is, unless an encoder hides it', () => {
    const grain = (slope: number, encoder: number) =>
      of(
        {
          grainBeside: at(1, 1, 1),
          grainAsked: at(0.002, 0.002, 0.002),
          grainEncoder: at(encoder, encoder, encoder),
          grainSlope: at(slope, slope, slope),
          grainSlopeSd: at(0.02, 0.02, 0.02),
        },
        'grain',
      ).passes;
    expect([grain(1, 0), grain(0.3, 0), grain(0.3, 0.003), grain(0, 0.003), grain(0, 0.008)]).toEqual([
      true,
      false,
      true,
      false,
      true,
    ]);
  });
  it('crushed blacks, a pale grade, a tinted shadow and a fringe are named at their step', () => {
    const named = (readings: Series['readings'], matter: InspectionMatterName) => {
      const m = of(readings, matter);
      return m.passes === false ? m.step : null;
    };
    expect(named({ veil: at(-0.02, -0.02, -0.02) }, 'blackLevel')).toBe('light');
    expect(named({ saturation: at(0.6, 0.6, 0.6), lightRed: at(0, 0, 0), lightBlue: at(0, 0, 0) }, 'colour')).toBe(
      'light',
    );
    expect(named({ coverBeside: at(0.09, 0.09, 0.09), beyondBeside: at(0, 0, 0) }, 'edgeHardness')).toBe('peel');
    expect(named({ rimBeside: at(-4, -4, -4) }, 'edgeLightness')).toBe('peel');
    expect(named({ spillBeside: at(0.3, 0.3, 0.3) }, 'spill')).toBe('peel');
    for (const m of ['blackLevel', 'colour', 'edgeHardness', 'edgeLightness', 'spill'] as const)
      expect(
        named(
          {
            veil: at(0, 0, 0),
            saturation: at(1, 1, 1),
            coverBeside: at(0.01, 0.01, 0.01),
            beyondBeside: at(0.2, 0.2, 0.2),
            rimBeside: at(0.1, 0.1, 0.1),
            spillBeside: at(0.01, 0.01, 0.01),
          },
          m,
        ),
      ).toBe(null);
  });
  it('a coloured coat is no cast where the take shows it so; a cast of its picture is, and one laid on by the recipe', () => {
    const told = (own: readonly [number, number], beside: readonly [number, number]) =>
      judge(
        {
          ...blank(),
          readings: {
            explained: at(0.99, 0.99, 0.99),
            exposure: at(0, 0, 0),
            colour: at(6, 6, 6),
            lightRed: at(beside[0], beside[0], beside[0]),
            lightBlue: at(beside[1], beside[1], beside[1]),
          },
          casts: [0, 1, 2].map(() => ({ colour: 6, gain: [1.6, 0.9, 0.4], own, plate: [0, 0] })),
        },
        { ...recipe, steps: recipe.steps.map((s) => (s.step === 'light' ? { ...s, slope: [0.8, 0.8, 0.8] } : s)) },
      ).matters.find((m) => m.matter === 'colour')!;
    // Blue by itself; the same after a cast; a grey coat made as blue by a cast.
    expect(told([-1, 1.6], [0, 0]).passes).toBe(true);
    expect(told([-1.6, 2.3], [-0.6, 0.7]).passes).toBe(false);
    expect(told([-1, 1.6], [-1, 1.6]).passes).toBe(false);
  });
});
