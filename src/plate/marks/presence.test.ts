/** Frames on which a thing is there or gone, given by hand: where it counts as there. */
import { describe, expect, it } from 'vitest';
import { parseRegion } from './marks.js';
import { isThere, keysThere } from './presence.js';
import { erasedThings, polygonAt } from '../erase-needs.js';

const square = (x: number): [number, number][] => [
  [x, 0],
  [x + 10, 0],
  [x + 10, 10],
];

describe('when a thing that is to go is there', () => {
  const frames = (keys: Parameters<typeof isThere>[0]): number[] =>
    Array.from({ length: 30 }, (_, n) => n).filter((n) => isThere(keys, n));

  it('is always, where nothing says otherwise', () => {
    expect(frames([{ frame: 10 }]).length).toBe(30);
  });
  it('is as far as the next frame on which it is gone, before and after', () => {
    expect(frames([{ frame: 5, gone: true }, { frame: 10 }, { frame: 20 }, { frame: 24, gone: true }])).toEqual(
      Array.from({ length: 18 }, (_, i) => 6 + i),
    );
    // Away in between, in any order.
    expect(frames([{ frame: 20 }, { frame: 12, gone: true }, { frame: 4 }, { frame: 10, gone: true }])).toEqual([
      0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 13, 14, 15, 16, 17, 18, 19, 20, 21, 22, 23, 24, 25, 26, 27, 28, 29,
    ]);
  });
  it('has a place only where it is there', () => {
    const marks = {
      frame: 0,
      marks: [
        { kind: 'erase' as const, frame: 4, polygon: square(0), gone: true },
        { kind: 'erase' as const, frame: 8, polygon: square(50) },
        { kind: 'erase' as const, frame: 8, polygon: square(90) },
        { kind: 'erase' as const, frame: 9, polygon: square(1), shadow: true },
      ],
    };
    const things = erasedThings(marks);
    expect(things.length).toBe(2);
    expect(polygonAt(things[0]!, 2)).toBeNull();
    expect(polygonAt(things[0]!, 6)).toEqual(square(50));
    expect(polygonAt(things[1]!, 2)).toEqual(square(90));
    expect(keysThere(things[0]!).length).toBe(1);
  });
  it('is refused where it is nowhere', () => {
    expect(() =>
      parseRegion(JSON.stringify({ frames: [{ frame: 0, polygon: square(0), gone: true }] }), 'r.json'),
    ).toThrow(/on every frame it is gone/);
  });
});
