/** A leap in an even movement, and what moves unevenly by itself. */
import { describe, expect, it } from 'vitest';
import { blank, told } from './made-readings.js';

describe('a frame missing before another', () => {
  /** Change of the performer from frame to frame, the set hardly changing. */
  const moving = (...inside: number[]) =>
    told(
      {
        ...blank(),
        change: inside.map((v, k) => ({ frame: k + 1, inside: v, outside: 0.01, plate: 0.01 })),
        planned: inside.map(() => 1),
      },
      'cadence',
    );
  it('is a leap in an even movement', () => {
    const leap = moving(0.02, 0.021, 0.02, 0.042, 0.02, 0.02, 0.021);
    expect(leap.passes).toBe(false);
    expect(leap.worstFrame).toBe(4);
  });
  it('is not what moves unevenly by itself', () => {
    expect(moving(0.01, 0.02, 0.01, 0.021, 0.01, 0.02, 0.01).passes).toBe(true);
  });
});
