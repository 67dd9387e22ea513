/** An answer's parts that did not change are the same objects as before, so that a page draws only what is new. */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { shareUnchanged } from './share.js';

describe('what has not changed is the same object', () => {
  it('shares equal parts and leaves changed ones new', () => {
    const last = {
      takes: [
        { id: 'a', marks: [1, 2] },
        { id: 'b', marks: [] },
      ],
      pulse: '1',
    };
    const now = shareUnchanged(last, {
      takes: [
        { id: 'a', marks: [1, 2] },
        { id: 'b', marks: [3] },
      ],
      pulse: '2',
    });
    expect(now).toEqual({
      takes: [
        { id: 'a', marks: [1, 2] },
        { id: 'b', marks: [3] },
      ],
      pulse: '2',
    });
    expect(now.takes[0]).toBe(last.takes[0]);
    expect(now.takes[1]).not.toBe(last.takes[1]);
  });
  it('is equal to the new value whatever the two are, and is the old one where they are equal', () => {
    fc.assert(
      fc.property(fc.jsonValue(), fc.jsonValue(), (a, b) => {
        const copy = (x: unknown): unknown => JSON.parse(JSON.stringify(x)) as unknown;
        expect(shareUnchanged(copy(a), copy(b))).toEqual(copy(b));
        const last = copy(a);
        expect(shareUnchanged(last, copy(a))).toBe(last);
      }),
    );
  });
});
