/** What the reveal says of a ground step is what that step laid. */
import { expect, it } from 'vitest';
import { groundCaption } from './reveal.js';

it('speaks of a shadow only where one is laid', () => {
  const mirror = { share: 0.2, roughness: 0 };
  expect(groundCaption({ shadow: true, contact: true, reflection: mirror })).toBe('shadow on the film’s ground');
  expect(groundCaption({ shadow: false, contact: true })).toBe('standing on the film’s ground');
  expect(groundCaption({ shadow: false, contact: false, reflection: mirror })).toBe('mirrored in the film’s ground');
  expect(groundCaption({ shadow: false, contact: false })).toBeNull();
});
