/** What a maker is told: the step, what stands in the recipe now, and about what it should be. */
import { describe, expect, it } from 'vitest';
import type { Recipe } from '../join/types.js';
import { at, blank, recipe, told } from './judge/made-readings.js';
import { judge } from './verdict.js';

describe('what a maker is told', () => {
  it('names the field of the step, its number and about what it should be', () => {
    const sharp = told({ ...blank(), readings: { blur: at(Math.exp(-0.41), Math.exp(-0.41)) } }, 'blur');
    expect(sharp.passes).toBe(false);
    // One pixel of blur moves the reading by e^.41: about 1 px more beside the .3 px there are.
    expect(sharp.advice).toMatch(/softening from 0\.3 to about 1\.0 px/);
    const grain = told(
      { ...blank(), readings: { grain: at(0.4, 0.4, 0.4), grainOutside: at(0.02, 0.02, 0.02) } },
      'grain',
    );
    expect(grain.advice).toContain('grain from 0.50 to about 1.3');
    const black = told(
      { ...blank(), readings: { blackLevel: at(0.2, 0.2), blackLinear: at(0.02, 0.02) } },
      'blackLevel',
    );
    expect(black.step).toBe('light');
    expect(black.advice).toContain('(0.030, 0.030, 0.030) to about (0.010, 0.010, 0.010)');
    const sunk = told(
      { ...blank(), readings: { blackLevel: at(-0.12, -0.12), blackLinear: at(-0.02, -0.02) } },
      'blackLevel',
    );
    expect(sunk.passes).toBe(false);
    expect(sunk.step).toBe('air');
    expect(sunk.advice).toContain('haze (0.10 now)');
    // A picture ends at white: little room above the plate's brightest is a closer limit.
    const white = (v: number, room: number) =>
      told(
        { ...blank(), readings: { whiteLevel: at(v, v), whiteStops: at(1, 1), whiteRoom: at(room, room) } },
        'whiteLevel',
      );
    expect([white(0.25, 0.5).passes, white(0.25, 0.26).passes, white(0.2, 0.26).passes]).toEqual([true, false, true]);
    // Before a plate that is burnt out itself an encoder's overshoot is no fault.
    expect([white(0.014, 0).passes, white(0.05, 0).passes]).toEqual([true, false]);
    expect(white(0.25, 0.26).advice).toContain('slope from (0.90, 0.80, 0.70) to about (0.45, 0.40, 0.35)');
    // Luminance of that slope: .2126 × .9 + .7152 × .8 + .0722 × .7 = .814, which is −.30 stops.
    expect(white(0.25, 0.26).advice).toContain('exposure from -0.30 to about -1.30 stops');
    const spill = told({ ...blank(), readings: { spill: at(3, 3) } }, 'spill');
    expect(spill.advice).toContain('from 0.60 to 1');
    const colour = told(
      {
        ...blank(),
        readings: { colour: at(20, 20) },
        casts: [1, 2].map(() => ({ colour: 20, gain: [0.5, 1.1, 1.2], own: [2, 0.4], plate: [0, 0] })),
      },
      'colour',
    );
    expect(colour.advice).toContain('too much red, 2.00 times');
    expect(colour.advice).toContain('(0.90, 0.80, 0.70) to about (0.45, 0.88, 0.84)');
  });
  it('names the way out that suits how the performer was cut out', () => {
    const by = (method: 'screen' | 'outline' | 'difference', quality: 'fast' | 'fine'): Recipe => ({
      ...recipe,
      steps: recipe.steps.map((s) => (s.step === 'peel' ? { ...s, method, quality } : s)),
    });
    const series = {
      ...blank(),
      readings: { edgeLightness: at(-9, -9, -9), chatter: at(0.5, 0.5, 0.5), spill: at(30, 30) },
    };
    const of = (r: Recipe) =>
      (['edgeLightness', 'chatter', 'spill'] as const).map(
        (m) => judge(series, r).matters.find((x) => x.matter === m)!,
      );
    for (const m of of(by('screen', 'fast')).slice(0, 2)) expect(m.advice).toContain('fine quality');
    expect(of(by('screen', 'fine'))[1]!.advice).toContain('light the screen more evenly');
    for (const quality of ['fast', 'fine'] as const) {
      for (const m of of(by('outline', quality)).slice(0, 2)) {
        expect(m.advice).toContain('outline on that frame');
        expect(m.advice).not.toMatch(/quality|screen/);
      }
      for (const m of of(by('difference', quality)).slice(0, 2)) {
        expect(m.advice).toContain('empty frame');
        expect(m.advice).not.toMatch(/quality|screen/);
      }
      // Nothing spills where no screen was.
      expect(of(by('outline', quality))[2]!.passes).toBe(null);
    }
    expect(of(by('screen', 'fine'))[2]!.passes).toBe(false);
  });

  it('says where the light seems to come from, where the key stands, and whether mirroring helps', () => {
    const side = (from: readonly [number, number], unlike: number) =>
      told(
        {
          ...blank(),
          readings: { light: at(120, 120), lightUnlike: at(unlike, unlike) },
          sides: [{ from, key: [0.6, -0.5] }],
        },
        'light',
      );
    const wrong = side([-0.3, -0.25], 14);
    expect(wrong.passes).toBe(false);
    expect(wrong.advice).toContain("10 o'clock");
    expect(wrong.advice).toContain("2 o'clock");
    expect(wrong.advice).toContain('mirror');
    expect(side([-0.3, 0.25], 14).advice).not.toContain('mirror');
    // Far aside, but no farther than bodies' own coats bring: not blamed.
    expect(side([-0.05, 0.04], 2).passes).toBe(true);
  });
  it('says which way a performer jumps, and what the pace does at a doubled frame', () => {
    const jitter = [1, 2, 3, 4].map((frame) => ({
      frame,
      x: frame === 3 ? -3 : 0.1,
      y: 0,
      plain: [frame === 3 ? -3 : 0.1, 0] as const,
    }));
    const slip = told({ ...blank(), jitter }, 'slip');
    expect(slip.worstFrame).toBe(3);
    // The place is the performer's where no reading tells a closer one.
    expect(slip.worstBox).toEqual([10, 20, 60, 90]);
    const edge = told(
      {
        ...blank(),
        readings: {
          edgeLightness: [
            { frame: 2, value: -1 },
            { frame: 3, value: -9, box: [12, 30, 36, 54] },
          ],
        },
      },
      'edgeLightness',
    );
    expect([edge.worstFrame, edge.worstBox]).toEqual([3, [12, 30, 36, 54]]);
    expect(slip.advice).toContain('2.4 px left');
    const change = [1, 2, 3, 4, 5, 6].map((frame) => ({
      frame,
      inside: frame === 3 ? 0.001 : 0.02,
      outside: 0.02,
      plate: 0.02,
    }));
    const cadence = told({ ...blank(), change, planned: [1, 1, 1, 1, 1, 1, 1] }, 'cadence');
    expect(cadence.worstFrame).toBe(3);
    expect(cadence.advice).toContain('from take frame 2.0 to 2.0');
  });
});
