/** What passes says which faults its reading lets through, by what the join could be held against. */
import { describe, expect, it } from 'vitest';
import type { InspectionMatterName } from '../types.js';
import { judge } from '../verdict.js';
import { at, blank, recipe, told } from './made-readings.js';

const cast = { colour: 1, gain: [1, 1, 1], own: [0.3, -0.4], plate: [0, 0] } as const;

/** What is said of a matter that passes, with the recipe's own picture at hand, another's, or none. */
function untold(matter: InspectionMatterName, explained: number | null, off = 0): string | undefined {
  const beside =
    explained === null
      ? {}
      : {
          explained: at(explained, explained, explained),
          exposure: at(0, 0, 0),
          lightRed: at(0, 0, 0),
          lightBlue: at(0, 0, 0),
          takeBlack: at(0, 0, 0),
        };
  return told(
    {
      ...blank(),
      casts: [cast, cast, cast],
      readings: { colour: at(1 + off, 1 + off, 1 + off), blackLevel: at(off, off, off), ...beside },
    },
    matter,
  ).untold;
}

describe('what a picture does not tell', () => {
  it('of colour and blacks goes with what the join was held against', () => {
    for (const matter of ['colour', 'blackLevel'] as const) {
      const said = [0.99, 0.5, null].map((explained) => untold(matter, explained));
      expect(said.every((s) => s !== undefined && s !== '')).toBe(true);
      expect(new Set(said).size).toBe(3);
    }
    expect(untold('colour', null)).toContain('1000 K off passes nine times in ten');
  });
  it("of the level is said of the recipe's own picture alone", () => {
    expect(untold('exposure', 0.99)).toContain('half a stop wrong passes');
    expect(untold('exposure', 0.5)).toBeUndefined();
  });
  it('is not said where the matter fails', () => {
    expect(untold('colour', null, 9)).toBeUndefined();
    expect(untold('blackLevel', null, 9)).toBeUndefined();
  });
  it('of an erase is what no frame showed', () => {
    const region = { frames: [] },
      erase = { step: 'erase', on: true, why: '', region, growPx: 3, shadowToo: true } as const;
    const remains = (madeUp: object, stain: number) =>
      judge(
        { ...blank(), remains: { frames: [], stain, ghost: null, boil: null, detail: null } },
        { ...recipe, steps: [{ ...erase, ...madeUp }, ...recipe.steps] },
      ).matters.find((m) => m.matter === 'remains')!;
    expect(remains({ madeUp: 0.24 }, 0).untold).toContain('no frame shows some 24 % of what was erased');
    expect(remains({}, 0).untold).toBeUndefined();
    expect(remains({ madeUp: 0.24 }, -0.5).passes).toBe(false);
    expect(remains({ madeUp: 0.24 }, -0.5).untold).toBeUndefined();
  });
  it("of a slip is what the plate's ground could not be asked", () => {
    const frames = [1, 2, 3, 4, 5, 6],
      still = frames.map((frame) => ({ frame, x: 0, y: 0, plain: [0, 0] as const })),
      slip = (followed: boolean[]) =>
        told({ ...blank(), jitter: still, slipPlan: followed.length === 0 ? [] : still, followed }, 'slip').untold;
    expect(slip(frames.map(() => true))).toContain('to and fro');
    expect(slip(frames.map((n) => n % 2 === 0))).toContain('could not be followed over the shot');
    expect(slip([])).toContain('no ground of the plate lies under');
  });
});
