/** How an error reads on a page: the sentence first, then its code. */
import { describe, expect, it } from 'vitest';
import { plainly } from './format.js';

describe('an error on a page', () => {
  it('is its sentence, then its code; one without a code stands as it is', () => {
    expect(plainly('PW-DAY-EMPTY: no pick has a brief yet; write one first')).toBe(
      'no pick has a brief yet; write one first (PW-DAY-EMPTY)',
    );
    expect(plainly('PW-X: a: b.')).toBe('a: b (PW-X)');
    expect(plainly('the connection broke')).toBe('the connection broke');
  });
});
