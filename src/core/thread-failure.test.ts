/** Failures through the structured clone that a worker's message goes through: what arrives against what was thrown. */
import { describe, expect, it } from 'vitest';
import { PlatewrightError } from './errors.js';
import { failureTold, tellFailure } from './thread-failure.js';

const posted = (error: unknown): Error => failureTold(structuredClone(tellFailure(error)));

describe('a failure told to another thread', () => {
  it("keeps code, sentence, kind and particulars of the program's own", () => {
    const thrown = new PlatewrightError('PW-A-B', 'a thing, a place, a way out', {
        kind: 'usage',
        detail: { frame: 3 },
      }),
      come = posted(thrown) as PlatewrightError;
    expect(come).toBeInstanceOf(PlatewrightError);
    expect([come.code, come.kind, come.message, come.detail]).toEqual([
      'PW-A-B',
      'usage',
      'PW-A-B: a thing, a place, a way out',
      { frame: 3 },
    ]);
    expect(come.stack).toBe(thrown.stack);
  });

  it('keeps sentence and stack of any other, and of what is no error', () => {
    const thrown = new RangeError('too far');
    expect([posted(thrown).message, posted(thrown).stack]).toEqual(['too far', thrown.stack]);
    expect(posted(thrown)).not.toBeInstanceOf(PlatewrightError);
    expect(posted('gone').message).toBe('gone');
  });
});
