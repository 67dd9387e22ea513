/**
 * Corners marked on two frames and a carrier of known motion: the pinned picture meets the marks and mixes between
 * them.
 */
import { describe, expect, it } from 'vitest';
import { apply, translation } from '../../geometry/mat3.js';
import { pinPicture } from './pin-picture.js';

const quad = (dx: number): [number, number][] => [
  [10 + dx, 10],
  [50 + dx, 12],
  [52 + dx, 40],
  [9 + dx, 38],
];

describe('a still pinned by its corners', () => {
  it('meets every mark exactly and moves with its carrier between them', () => {
    const placed = pinPicture(
      100,
      60,
      [
        { frame: 0, corners: quad(0) },
        { frame: 10, corners: quad(30) },
      ],
      { at: (f) => translation(f * 2.9, 0) },
      { in: 0, out: 12 },
    );
    for (const [f, dx] of [
      [0, 0],
      [10, 30],
    ] as const) {
      [
        [0, 0],
        [100, 0],
        [100, 60],
        [0, 60],
      ].forEach(([x, y], i) => {
        const p = apply(placed[f]!.matrix, x!, y!);
        expect(p[0]).toBeCloseTo(quad(dx)[i]![0], 6);
        expect(p[1]).toBeCloseTo(quad(dx)[i]![1], 6);
      });
    }
    // Half way the two marks, carried from either side, are mixed: 14.5 from the carrier plus half of the 1 px they
    // disagree by.
    expect(apply(placed[5]!.matrix, 0, 0)[0]).toBeCloseTo(10 + 15, 6);
    // Beyond the last mark the carrier alone moves it.
    expect(apply(placed[11]!.matrix, 0, 0)[0]).toBeCloseTo(40 + 2.9, 6);
  });
  it('wants four corners that are no line', () => {
    expect(() =>
      pinPicture(
        10,
        10,
        [{ frame: 0, corners: quad(0).slice(0, 3) }],
        { at: () => translation(0, 0) },
        { in: 0, out: 1 },
      ),
    ).toThrow(/PW-JOIN-PIN/);
    expect(() => pinPicture(10, 10, [], { at: () => translation(0, 0) }, { in: 0, out: 1 })).toThrow(/PW-JOIN-PIN/);
  });
});
