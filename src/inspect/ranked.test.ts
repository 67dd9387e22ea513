/** What is named before what follows from it. */
import { describe, expect, it } from 'vitest';
import { blank, recipe } from './judge/made-readings.js';
import { judge } from './verdict.js';

describe('what is named first', () => {
  it('is the slip where the performer alone leaps, and the cadence where the whole picture stands still', () => {
    const jitter = [1, 2, 3, 4].map((frame) => ({
      frame,
      x: frame % 2 === 0 ? 2 : -2,
      y: 0,
      plain: [frame % 2 === 0 ? 2 : -2, 0] as const,
    }));
    const change = (leap: (k: number) => boolean, outside: (k: number) => number) =>
      Array.from({ length: 12 }, (_, k) => ({
        frame: k + 1,
        inside: leap(k) ? 0.06 : 0.01,
        outside: outside(k),
        plate: 0.01,
      }));
    const planned = Array.from({ length: 13 }, () => 1);
    expect(
      judge(
        {
          ...blank(),
          jitter,
          change: change(
            (k) => k === 4 || k === 8,
            () => 0.01,
          ),
          planned,
        },
        recipe,
      ).found![0],
    ).toBe('slip');
    expect(
      judge(
        {
          ...blank(),
          jitter,
          change: change(
            () => false,
            (k) => (k === 5 ? 0.0001 : 0.01),
          ),
          planned,
        },
        recipe,
      ).found![0],
    ).toBe('cadence');
  });
});
