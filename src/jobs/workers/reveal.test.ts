/** What the reveal says of a ground step is what that step laid. */
import { expect, it } from 'vitest';
import type { Recipe } from '../../join/types.js';
import { builtUp, frontCaption, groundCaption } from './reveal.js';

it('speaks of a shadow only where one is laid', () => {
  const mirror = { share: 0.2, roughness: 0 };
  expect(groundCaption({ shadow: true, contact: true, reflection: mirror })).toBe('shadow on the film’s ground');
  expect(groundCaption({ shadow: false, contact: true })).toBe('standing on the film’s ground');
  expect(groundCaption({ shadow: false, contact: false, reflection: mirror })).toBe('mirrored in the film’s ground');
  expect(groundCaption({ shadow: false, contact: false })).toBeNull();
});

it('speaks of what stands in front only where something does', () => {
  const region = { frames: [] };
  expect(frontCaption({ region: null, pane: null })).toBeNull();
  expect(frontCaption({ region: null, pane: null, also: [] })).toBeNull();
  expect(frontCaption({ region, pane: null })).not.toBeNull();
  expect(frontCaption({ region: null, pane: { region, veil: 0.2 } })).not.toBeNull();
  const front = { step: 'front', on: true, region: null, pane: null, within: [0, 0, 9, 9] };
  const told = (s: object) => builtUp({ steps: [s] as unknown as Recipe['steps'] }).map((b) => b.caption);
  expect(told(front)).toEqual([]);
  expect(told({ ...front, region })).toEqual(['behind what stands in front']);
});

/** A recipe of steps by name alone: nothing else is read of them. */
const recipeOf = (names: readonly string[], onto?: string): Pick<Recipe, 'steps'> => ({
  steps: names.map((step) => ({ step, on: true, ...(step === 'patch' ? { onto } : {}) })) as unknown as Recipe['steps'],
});

it('shows a part that is laid on as a stage of its own, and the picture without it before', () => {
  const names = ['erase', 'peel', 'patch', 'pace', 'ride', 'light', 'air'];
  const seen = (onto?: string): [string, boolean][] =>
    builtUp(recipeOf(names, onto)).map(({ caption, choice }) => [
      caption,
      choice.steps === undefined || choice.steps.includes('patch'),
    ]);
  expect(seen()).toEqual([
    ['what must go is taken out', false],
    ['placed, and moved with the film', false],
    ['with a part of another take', true],
    ['in the film’s light', true],
    ['with the film’s grain and softness', true],
  ]);
  expect(seen('plate').map(([c]) => c)).toEqual([
    'what must go is taken out',
    'with the film’s own from another moment',
    'placed, and moved with the film',
    'in the film’s light',
    'with the film’s grain and softness',
  ]);
  expect(seen('join').at(-1)).toEqual(['with a part of the film’s own actor', true]);
  expect(seen('join').at(-2)).toEqual(['with the film’s grain and softness', false]);
});

it('has no such stage where nothing is laid on', () => {
  const stages = builtUp(recipeOf(['peel', 'ride', 'air']));
  expect(stages.map((s) => s.caption)).toEqual([
    'placed, and moved with the film',
    'with the film’s grain and softness',
  ]);
  expect(stages.every((s) => s.choice.steps === undefined)).toBe(true);
});
