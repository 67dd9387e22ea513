/** The cover of bars and a post at known pixels. */
import { describe, expect, it } from 'vitest';
import { STILL } from '../ride/carrier.js';
import { frontCover, frontOutlines } from './front.js';
import type { FrontStep } from '../types.js';

const step = (more: Partial<FrontStep>): FrontStep => ({
  step: 'front',
  on: true,
  why: '',
  region: null,
  pane: null,
  softPx: 0,
  ...more,
});

describe('what passes before the performer', () => {
  it('covers the black bars round the picture wholly and nothing within them, whatever else is in front', () => {
    const bars = step({ within: [4, 10, 96, 50] });
    expect(frontCover(bars, frontOutlines(bars, STILL), 0, [10, 12, 40, 50])).toBeNull();
    const cover = frontCover(bars, frontOutlines(bars, STILL), 0, [0, 40, 20, 60])!;
    for (let y = 0; y < 20; y++) for (let x = 0; x < 20; x++) expect(cover[y * 20 + x]).toBe(x < 4 || y >= 10 ? 1 : 0);
    const post = step({
      within: [0, 10, 100, 50],
      region: {
        frames: [
          {
            frame: 0,
            polygon: [
              [6, 0],
              [8, 0],
              [8, 60],
              [6, 60],
            ],
          },
        ],
      },
    });
    const both = frontCover(post, frontOutlines(post, STILL), 0, [0, 40, 20, 60])!;
    expect(both[5 * 20 + 7]).toBe(1);
    expect(both[5 * 20 + 12]).toBe(0);
    expect(both[15 * 20 + 12]).toBe(1);
  });
});
