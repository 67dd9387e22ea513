/** Marks of every kind with foot and top either way round: which are told as swapped. */
import { describe, expect, it } from 'vitest';
import type { Mark } from './marks.js';
import { swappedEnds } from './swapped-ends.js';

const said = (...marks: Mark[]): string[] => swappedEnds({ frame: 4, marks });

describe('foot and top of a mark', () => {
  it('are named where the foot lies above the top, whatever their kind calls them', () => {
    expect(said({ kind: 'upright', foot: [10, 20], top: [12, 200] })).toEqual([
      'mark 1 (upright on frame 4): its foot at 10, 20 lies no lower in the picture than its top at 12, 200; ' +
        'are the two swapped? Pixels count downwards',
    ]);
    for (const kind of ['stand', 'performer'] as const)
      expect(said({ kind, frame: 7, ground: [10, 20], top: [12, 200] })).toEqual([
        expect.stringContaining(`(${kind} on frame 7): its ground at`),
      ]);
    expect(said({ kind: 'shadow', foot: [10, 20], tip: [50, 30], top: [10, 90] })).toHaveLength(1);
    expect(
      said({
        kind: 'carry',
        region: [
          [0, 0],
          [9, 0],
          [9, 9],
        ],
        ground: [1, 1],
        top: [1, 8],
      } as Mark),
    ).toHaveLength(1);
  });

  it('are right where the top is above, leaning or not, and where a mark has none', () => {
    expect(
      said(
        { kind: 'upright', foot: [10, 200], top: [90, 20] },
        { kind: 'stand', ground: [10, 200], top: [12, 20] },
        { kind: 'shadow', foot: [10, 20], tip: [50, 90] },
        {
          kind: 'carry',
          region: [
            [0, 0],
            [9, 0],
            [9, 9],
          ],
        } as Mark,
        {
          kind: 'horizon',
          line: [
            [0, 9],
            [9, 0],
          ],
        } as Mark,
      ),
    ).toEqual([]);
  });
});
