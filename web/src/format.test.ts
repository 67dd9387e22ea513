import { describe, expect, it } from 'vitest';
import { reading } from './format.js';

describe('a reading', () => {
  it('shows a standard error only where it reaches the last figure shown', () => {
    expect(reading(1.34712, 0.0071)).toBe('1.347 ± 0.007');
    expect(reading(1, 0.0000018)).toBe('1');
    expect(reading(0.085, undefined)).toBe('0.085');
  });
});
