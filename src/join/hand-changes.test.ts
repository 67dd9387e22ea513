/** Recipes changed by hand: what is told of a change, and what is left of it in another proposal. */
import { describe, expect, it } from 'vitest';
import { handChanges, withHandChanges } from './hand-changes.js';
import { controlValues } from './step-controls.js';
import type { RecipeStep } from './types.js';

const steps = (exposure: number, more: Partial<Record<string, unknown>> = {}): RecipeStep[] => [
  { step: 'peel', on: true, why: 'w', method: 'screen', quality: 'fast', spill: 1, ...more } as unknown as RecipeStep,
  {
    step: 'light',
    on: true,
    why: 'w',
    slope: [2 ** exposure, 2 ** exposure, 2 ** exposure],
    offset: [0, 0, 0],
    power: [1, 1, 1],
    saturation: 1,
  } as unknown as RecipeStep,
  {
    step: 'ground',
    on: true,
    why: 'w',
    shadow: true,
    contact: true,
    azimuthDeg: 40,
    elevationDeg: 35,
    softnessDeg: 0.5,
    contactStrength: 0.7,
  } as unknown as RecipeStep,
];

describe('changes of a hand', () => {
  it('are none in a recipe as it was proposed, nor where it is not known what was proposed', () => {
    const now = steps(0.3);
    expect(handChanges({ steps: now }, controlValues({ steps: now }))).toEqual([]);
    expect(handChanges({ steps: now }, undefined)).toEqual([]);
    // A hundredth of a degree is below what the control turns by.
    const nearly = now.map((s) => (s.step === 'ground' ? { ...s, azimuthDeg: 40.01 } : s));
    expect(handChanges({ steps: nearly }, controlValues({ steps: now }))).toEqual([]);
  });

  it('are named with what was proposed, and stay when another proposal comes', () => {
    const first = steps(0.3),
      proposed = controlValues({ steps: first });
    const changed = first.map(
      (s): RecipeStep =>
        s.step === 'ground'
          ? { ...s, azimuthDeg: 60, contact: false }
          : s.step === 'light'
            ? { ...s, on: false }
            : ({ ...s, keepShadow: true } as RecipeStep),
    );
    const changes = handChanges({ steps: changed }, proposed);
    expect(changes.map((c) => c.words)).toEqual([
      'peel: its own shadow kept, proposed not',
      'light off, proposed on',
      'ground: contact shadow off, proposed on',
      'ground: light, azimuth 60 °, proposed 40 °',
    ]);
    const { steps: next, left } = withHandChanges(steps(-0.5), changes);
    expect(left).toEqual([]);
    expect(next[2]).toMatchObject({ azimuthDeg: 60, contact: false, elevationDeg: 35 });
    // What no hand touched is the new proposal's.
    expect(next[1]).toMatchObject({ on: false, slope: [2 ** -0.5, 2 ** -0.5, 2 ** -0.5] });
    expect(next[0]).toMatchObject({ keepShadow: true });
  });

  it('tell what has no place in the new proposal', () => {
    const first = steps(0),
      changes = handChanges(
        { steps: first.map((s) => (s.step === 'ground' ? { ...s, azimuthDeg: 60 } : s)) },
        controlValues({ steps: first }),
      );
    const { steps: next, left } = withHandChanges(steps(0).slice(0, 2), changes);
    expect(next.length).toBe(2);
    expect(left.map((c) => c.key)).toEqual(['azimuthDeg']);
  });
});
