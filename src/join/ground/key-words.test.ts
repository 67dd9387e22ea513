/** Marks that do and do not tell the key: which sentence asks for what is lacking. */
import { describe, expect, it } from 'vitest';
import { howToTellTheKey } from './ground-key.js';

describe('what is asked for where the key is not known', () => {
  it('is what a marked shadow lacks, where one is marked', () => {
    const words = howToTellTheKey({
      frame: 0,
      marks: [
        { kind: 'upright', foot: [585, 410], top: [585, 180], height: 1.6 },
        { kind: 'shadow', foot: [615, 408], tip: [705, 372] },
      ],
    });
    expect(words).toContain('The shadow marked at 615, 408');
    expect(words).toContain('give the height of what casts it, or point at its top');
    expect(words).not.toContain('mark a shadow');
  });
  it('is a shadow of what is marked already, where none is', () => {
    expect(howToTellTheKey({ frame: 0, marks: [{ kind: 'upright', foot: [585, 410], top: [585, 180] }] })).toContain(
      'of what stands at 585, 410',
    );
  });
});
