/** Matters with their units and tolerances as they are written out, against strings written by hand. */
import { describe, expect, it } from 'vitest';
import type { Matter } from '../types.js';
import { judgedWords, matterTitle, measuredWords, needWords } from './matter-words.js';

const matter = (m: Partial<Matter> & Pick<Matter, 'matter' | 'unit'>): Matter => ({
  measured: null,
  sd: null,
  needed: null,
  verdict: null,
  tolerance: null,
  change: '',
  ...m,
});

describe('a matter of a verdict, in words', () => {
  it('says by how many matters a take was judged, where some could not be', () => {
    expect(judgedWords([{ verdict: 'fits' }, { verdict: null }, { verdict: 'mendable' }])).toBe(
      'judged by 2 of 3 matters',
    );
    expect(judgedWords([{ verdict: 'fits' }])).toBe('');
  });

  it('is named as the trade names it', () => {
    expect(matterTitle('keyFill')).toBe('key to fill');
    expect(matterTitle('viewElevation')).toBe('view elevation');
    expect(matterTitle('spill')).toBe('spill');
  });

  it('has a unit that is read, a true minus, and as many digits as the deviation leaves', () => {
    expect(measuredWords(matter({ matter: 'keyFill', unit: 'stop', measured: 2.034, sd: 0.3 }))).toBe(
      '2.03 stops ± 0.30',
    );
    expect(measuredWords(matter({ matter: 'lightAzimuth', unit: 'deg', measured: -38.26, sd: 2 }))).toBe(
      '−38.3° ± 2.0',
    );
    expect(measuredWords(matter({ matter: 'spill', unit: 'share', measured: 0.031, sd: null }))).toBe('3.100 %');
    expect(measuredWords(matter({ matter: 'keyFill', unit: 'stop' }))).toBe('–');
  });

  it('needs a value and a distance from it, a floor, or a ceiling', () => {
    const tolerance = { fits: 0.5, mendable: 1.5 };
    expect(needWords(matter({ matter: 'keyFill', unit: 'stop', needed: 2.1, tolerance }))).toBe(
      '2.1 stops (± 0.5 / 1.5)',
    );
    expect(needWords(matter({ matter: 'exposure', unit: 'stop', needed: -0.25, tolerance: null }))).toBe('−0.25 stops');
    expect(
      needWords(matter({ matter: 'length', unit: 'frame', needed: 48, tolerance: { fits: 48, mendable: 40 } })),
    ).toBe('at least 48 frames; 40 can be mended');
    expect(
      needWords(matter({ matter: 'clipping', unit: '1', needed: 0, tolerance: { fits: 0.005, mendable: 0.02 } })),
    ).toBe('at most 0.5 %; 2 % can be mended');
    expect(needWords(matter({ matter: 'keyFill', unit: 'stop' }))).toBe('–');
  });
});
