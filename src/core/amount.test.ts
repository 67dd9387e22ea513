/** Numbers with their uncertainty as they are written out, against strings written by hand. */
import { expect, it } from 'vitest';
import { amount } from './amount.js';

it('writes as many digits as the uncertainty leaves, and no sign before nothing', () => {
  expect(amount(-5.521, 0.34, 'deg')).toBe('−5.52° ± 0.34');
  expect(amount(-0.0021, 0.15, 'deg')).toBe('0.00° ± 0.15');
  expect(amount(71, 0, 'frame')).toBe('71 frames');
  expect(amount(0.0713, 0.0642, '1')).toBe('7.1 % ± 6.4');
});
