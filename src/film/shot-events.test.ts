/** Halves of fades and cuts given as made events: which are joined and which shots come out. */
import { describe, expect, it } from 'vitest';
import { joinFades, shotsOf, type GradualEvent, type ShotEvent } from './shot-events.js';

const fade = (a: number, b: number, flatStart: boolean, flatEnd: boolean): GradualEvent => ({
  kind: 'gradual',
  a,
  b,
  flatStart,
  flatEnd,
  quality: 8,
});

describe('halves of a fade', () => {
  it('join over a flat hold, and where one half was not seen to reach the flat picture', () => {
    expect(joinFades([fade(10, 20, false, true), fade(40, 52, true, false)])).toHaveLength(1);
    expect(joinFades([fade(10, 20, false, true), fade(22, 34, false, false)])).toMatchObject([{ a: 10, b: 34 }]);
    expect(joinFades([fade(10, 20, false, false), fade(25, 34, true, false)])).toMatchObject([{ a: 10, b: 34 }]);
  });
  it('stay two changes where a shot lies between', () => {
    expect(joinFades([fade(10, 20, false, true), fade(40, 52, false, false)])).toHaveLength(2);
    expect(joinFades([fade(10, 20, false, false), fade(40, 52, true, false)])).toHaveLength(2);
  });
  it('take a cut in from the flat picture, not a cut between two later shots', () => {
    const cut = (flatBefore: boolean): ShotEvent => ({
      kind: 'cut',
      at: 60,
      strength: 0.8,
      ...(flatBefore ? { flatBefore } : {}),
    });
    expect(joinFades([fade(10, 20, false, true), cut(true)])).toMatchObject([{ a: 10, b: 60 }]);
    expect(joinFades([fade(10, 20, false, true), cut(false)])).toHaveLength(2);
  });
});

describe("a fade up near the film's first frame", () => {
  it('opens the film, unless a title was seen before it', () => {
    expect(shotsOf([fade(36, 46, true, false)], 96)).toEqual([{ in: 0, out: 96, entry: 'start', over: [0, 45] }]);
    expect(shotsOf([{ ...fade(36, 46, true, false), pictureBefore: true }], 96)).toEqual([
      { in: 0, out: 41, entry: 'start' },
      { in: 41, out: 96, entry: 'fade', over: [37, 45] },
    ]);
  });
});
