/** Readings with their standard errors and units as they are written out, against strings written by hand. */
import { describe, expect, it } from 'vitest';
import { inspected, reading } from './reading.js';

describe('a reading', () => {
  it('shows a standard error only where it reaches the last figure shown', () => {
    expect(reading(1.34712, 0.0071)).toBe('1.347 ± 0.007');
    expect(reading(1, 0.0000018)).toBe('1');
    expect(reading(0.085, undefined)).toBe('0.085');
  });
  it('shows no more places than the error leaves standing', () => {
    expect(reading(20.6691, 0.6274)).toBe('20.67 ± 0.63');
    expect(reading(-20.6691, 6.27)).toBe('−20.7 ± 6.3');
    expect(reading(123.456, undefined)).toBe('123');
  });
  it('is told in the unit of its limit', () => {
    expect(inspected(0.00049, 0.0051, 'share')).toBe('0.05 ± 0.51 %');
    expect(inspected(-0.0116, 0.003, 'coded')).toBe('−0.012 ± 0.003 of the coded range');
    expect(inspected(1.1836, 0.0287, 'ratio')).toBe('1.184 ± 0.029 ×');
    expect(inspected(12, undefined, 'deg')).toBe('12°');
    expect(inspected(0.02, undefined, 'coded')).toBe('0.020 of the coded range');
    expect(inspected(-5.2, 0.4, 'L*')).toBe('−5.20 ± 0.40 L*');
  });
});
