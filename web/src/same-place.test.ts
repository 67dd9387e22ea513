/** Entries that an edit means by their place, after edits before it. */
import { describe, expect, it } from 'vitest';
import { samePlace } from './same-place.js';

const entry = (kind: string, v: number) => ({ kind, v });
const [a, b, c] = [entry('stand', 1), entry('upright', 2), entry('upright', 3)];

describe('the place of an entry', () => {
  it('is where it was while nothing has changed', () => {
    expect(samePlace([a, b, c], 1, [a, b, c])).toBe(1);
  });
  it('goes along with entries that went or came before it', () => {
    expect(samePlace([a, b, c], 2, [b, c])).toBe(1);
    expect(samePlace([a, b], 0, [c, a, b])).toBe(1);
  });
  it('is its own though it was changed itself, and though another went meanwhile', () => {
    const moved = entry('stand', 9);
    expect(samePlace([a, b, c], 0, [moved, b, c])).toBe(0);
    expect(samePlace([b, a, c], 1, [moved, c])).toBe(0);
  });
  it('is none where it went', () => {
    expect(samePlace([a, b, c], 0, [b, c])).toBeNull();
    expect(samePlace([a], 3, [a])).toBeNull();
  });
  it('is one of several alike: of two titles both can be taken out', () => {
    expect(samePlace([a, a, b], 1, [a, b])).toBe(0);
  });
});
