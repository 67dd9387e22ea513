/** One reason that several measures are missing for is told once; what is known or differs stays apart. */
import { describe, expect, it } from 'vitest';
import { measured, notMeasurable } from '../../../src/core/measure.js';
import { gathered } from './gather-measures.js';

describe('measures on the sheet', () => {
  it('tell one reason once, and keep apart what differs or is known', () => {
    const none = notMeasurable('deg', 'no shadow is marked', 'a shadow mark');
    const known = measured(2, 'stop', 0.1, 'seen');
    const names = gathered([
      { name: 'azimuth', measure: none },
      { name: 'elevation', measure: { ...none } },
      { name: 'key', measure: known },
      { name: 'softness', measure: none },
      { name: 'colour', measure: notMeasurable('K', 'no grey is marked', 'a grey card') },
    ]).map((i) => i.name);
    expect(names).toEqual(['azimuth, elevation', 'key', 'softness', 'colour']);
    expect(
      gathered([
        { name: 'tilt', measure: undefined, absent: 'no marks' },
        { name: 'roll', measure: undefined, absent: 'no marks' },
        { name: 'a', measure: undefined },
        { name: 'b', measure: undefined },
      ]).map((i) => i.name),
    ).toEqual(['tilt, roll', 'a', 'b']);
  });
});
