/** Blacks over the plate's, by the plate and by what the material holds in the take. */
import { describe, expect, it } from 'vitest';
import type { Recipe } from '../../join/types.js';
import { judge } from '../verdict.js';
import { at, blank, recipe } from './made-readings.js';

describe("blacks that stand over the plate's", () => {
  /**
   * `asked`: darkest over middle in the take through the recipe; `more`: by how much more the join holds; `offset`: the
   * light step's.
   */
  const passes = (asked: number | null, more: number, offset: number): boolean | null => {
    const lit: Recipe = {
      ...recipe,
      steps: recipe.steps.map((s) => (s.step === 'light' ? { ...s, offset: [offset, offset, offset] } : s)),
    };
    const take = asked === null ? {} : { shadeAsked: at(asked, asked), shade: at(more, more) };
    return judge({ ...blank(), readings: { blackLevel: at(0.2, 0.2), ...take } }, lit).matters.find(
      (m) => m.matter === 'blackLevel',
    )!.passes;
  };
  it("are a pale body's own where its take holds no black either", () => {
    expect([passes(0.4, 0.01, 0), passes(0.4, -0.05, 0), passes(null, 0, 0)]).toEqual([true, true, false]);
  });
  it('are lifted where the take holds black, the join holds less of it, or the recipe lifts them itself', () => {
    expect([passes(0.1, 0, 0), passes(0.4, 0.2, 0), passes(0.4, 0.01, 0.05)]).toEqual([false, false, false]);
  });
});
