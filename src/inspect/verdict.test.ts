/** What a maker is told: the step, what stands in the recipe now, and about what it should be. */
import { describe, expect, it } from 'vitest';
import type { Recipe } from '../join/types.js';
import type { Series } from './series.js';
import type { InspectionMatterName } from './types.js';
import { judge } from './verdict.js';

const recipe: Recipe = {
  version: 1,
  plate: { file: 'p.mp4', in: 0, out: 8, rate: '24/1', widthPx: 320, heightPx: 200 },
  take: { file: 't.mp4', in: 0, out: 8, rate: '24/1', widthPx: 320, heightPx: 200 },
  steps: [
    { step: 'peel', on: true, why: '', method: 'screen', screen: 'green', quality: 'fast', spill: 0.6 },
    { step: 'pace', on: true, why: '', method: 'nearest', curve: [0, 1, 2, 2, 4, 5, 6, 7] },
    {
      step: 'light',
      on: true,
      why: '',
      slope: [0.9, 0.8, 0.7],
      offset: [0.03, 0.03, 0.03],
      power: [1, 1, 1],
      saturation: 1,
    },
    {
      step: 'air',
      on: true,
      why: '',
      softenPx: 0.3,
      haze: { amount: 0.1, linear: [0.5, 0.5, 0.5] },
      wrap: 0,
      grain: 0.5,
      plateGrain: { table: [], autocorrelation: { x: [1], y: [1] }, channelCorrelation: [0, 0, 0] },
      takeGrain: null,
      seed: 1,
    },
  ],
};
const blank = (): Series => ({
  first: 0,
  through: null,
  remains: null,
  frames: [0, 1, 2, 3, 4, 5, 6, 7],
  boxes: new Map([[3, [10, 20, 60, 90]]]),
  readings: {},
  change: [],
  planned: [],
  slipPlan: [],
  jitter: [],
  shift: [],
  against: [],
  followed: [],
  steps: [],
  inStep: [],
  outsideFaults: [],
  levels: [],
  gains: [],
  sides: [],
  cuts: [],
});
const told = (series: Series, matter: InspectionMatterName) =>
  judge(series, recipe).matters.find((m) => m.matter === matter)!;
const at = (...values: number[]) => values.map((value, frame) => ({ frame, value }));

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
    const spill = told({ ...blank(), readings: { spill: at(3, 3) } }, 'spill');
    expect(spill.advice).toContain('from 0.60 to 1');
    const colour = told(
      {
        ...blank(),
        readings: { colour: at(20, 20) },
        gains: [
          [0.5, 1.1, 1.2],
          [0.5, 1.1, 1.2],
        ],
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

describe('a performer that bobs as it walks', () => {
  const bob = [1, 2, 3, 4, 5].map((frame) => ({ frame, x: 0, y: frame % 2 === 0 ? 1.5 : -1.5 }));
  const where = (off: number) => [1, 3, 5].map((frame) => ({ frame, x: off, y: 0 }));
  const steady = bob.map((p) => ({ ...p, plain: [p.x, p.y] as const }));
  it('is not blamed where its picture lies where the recipe puts it and the ride is smooth', () => {
    expect(told({ ...blank(), jitter: steady, against: where(0.05) }, 'slip').passes).toBe(true);
  });
  it('is blamed where nothing proves its place, or the ride itself jumps', () => {
    expect(told({ ...blank(), jitter: steady }, 'slip').passes).toBe(false);
    expect(told({ ...blank(), jitter: steady, against: where(0.4) }, 'slip').passes).toBe(false);
    const jumps = bob.map((p) => ({ ...p, plain: [p.x, 3 * p.y] as const }));
    expect(told({ ...blank(), jitter: jumps, against: where(0.05) }, 'slip').passes).toBe(false);
  });
});

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
  it('is not judged where no shadow of the plate tells it, or one on other ground', () => {
    for (const on of [null, [0.05, 0.046, 0.04], [0.2, 0.3, 0.1]] as const) {
      const m = shadow(on, 1);
      expect(m.passes).toBe(true);
      expect(m.needed).toContain('not judged');
    }
  });
});

describe('a frame missing before another', () => {
  /** Change of the performer from frame to frame, the set hardly changing. */
  const moving = (...inside: number[]) =>
    told(
      {
        ...blank(),
        change: inside.map((v, k) => ({ frame: k + 1, inside: v, outside: 0.01, plate: 0.01 })),
        planned: inside.map(() => 1),
      },
      'cadence',
    );
  it('is a leap in an even movement', () => {
    const leap = moving(0.02, 0.021, 0.02, 0.042, 0.02, 0.02, 0.021);
    expect(leap.passes).toBe(false);
    expect(leap.worstFrame).toBe(4);
  });
  it('is not what moves unevenly by itself', () => {
    expect(moving(0.01, 0.02, 0.01, 0.021, 0.01, 0.02, 0.01).passes).toBe(true);
  });
});

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
});

describe('what is named first', () => {
  it('is the slip where the performer alone leaps, and the cadence where the whole picture stands still', () => {
    const jitter = [1, 2, 3, 4].map((frame) => ({
      frame,
      x: frame % 2 === 0 ? 2 : -2,
      y: 0,
      plain: [frame % 2 === 0 ? 2 : -2, 0] as const,
    }));
    const change = (leap: (k: number) => boolean, outside: (k: number) => number) =>
      Array.from({ length: 12 }, (_, k) => ({
        frame: k + 1,
        inside: leap(k) ? 0.06 : 0.01,
        outside: outside(k),
        plate: 0.01,
      }));
    const planned = Array.from({ length: 13 }, () => 1);
    expect(
      judge(
        {
          ...blank(),
          jitter,
          change: change(
            (k) => k === 4 || k === 8,
            () => 0.01,
          ),
          planned,
        },
        recipe,
      ).found![0],
    ).toBe('slip');
    expect(
      judge(
        {
          ...blank(),
          jitter,
          change: change(
            () => false,
            (k) => (k === 5 ? 0.0001 : 0.01),
          ),
          planned,
        },
        recipe,
      ).found![0],
    ).toBe('cadence');
  });
});
