/** What the command line tells of an inspection: what to mend comes first, and what could not be read is said. */
import { describe, expect, it } from 'vitest';
import type { Inspection, InspectionMatter } from '../inspect/types.js';
import { told } from './inspection-words.js';

const edge: InspectionMatter = {
  matter: 'edgeLightness',
  value: -5.2,
  sd: 0.4,
  unit: 'L*',
  limit: 3.2,
  needed: 'from −3.7 to 3.2 L*',
  passes: false,
  worstFrame: 7,
  worstBox: [10, 20, 60, 90],
  step: 'peel',
  advice: 'the outline is 5.2 L* darker than the mixture of performer and background it should be: draw it anew',
};
const black: InspectionMatter = {
  matter: 'blackLevel',
  value: 0.02,
  unit: 'coded',
  limit: 0.13,
  passes: true,
  worstFrame: 3,
  step: 'light',
  advice: '',
  untold: 'a veil of .07 passes every second time',
};
const border: InspectionMatter = {
  matter: 'takeBorder',
  value: null,
  unit: 'share',
  limit: 0.08,
  passes: null,
  worstFrame: null,
  step: 'ride',
  advice: '',
  reason: 'no take is known',
};

describe('an inspection in words', () => {
  const found: Inspection = {
    passes: false,
    found: ['edgeLightness'],
    matters: [edge, black, border],
    frames: [],
  };

  it('names first what to mend: the fault, its step, where on which frame, how much and what to do', () => {
    const first = told(found).split('\n')[0]!;
    for (const part of [
      'edge lightness',
      'peel step',
      'frame 7',
      '10 to 60 across',
      '20 to 90 down',
      '5.2 L*',
      'draw it anew',
    ])
      expect(first).toContain(part);
  });

  it("speaks a maker's words and units, and says why something was not measured", () => {
    const text = told(found);
    expect(text).toContain('−5.20 ± 0.40 L*');
    expect(text).toContain('black level');
    expect(text).toContain('0.020 of the coded range');
    expect(text).toContain('not measured: take border (no take is known)');
    expect(text).not.toMatch(/[a-z][A-Z]/);
    expect(text).toContain('black level passes; not told by this picture: a veil of .07 passes every second time');
  });
});
