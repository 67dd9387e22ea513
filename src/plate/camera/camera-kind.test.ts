/** Shifts of known length: the kind of move that they are called. */
import { describe, expect, it } from 'vitest';
import type { Mat3 } from '../../geometry/mat3.js';
import { describeMove } from './camera-kind.js';

const W = 854;
const H = 480;
/** Shifts across of so many px by frame, from the second frame on. */
const across = (at: (n: number) => number): Mat3[] =>
  Array.from({ length: 71 }, (_, k): Mat3 => [1, 0, at(k + 1), 0, 1, 0, 0, 0, 1]);
const kindOf = (at: (n: number) => number): string => describeMove(across(at), W, H, 24, false).move;

describe('the kind of a camera move', () => {
  it('is a drift where it goes one way by less than a hundredth of the width, a pan beyond', () => {
    expect(kindOf((n) => (2.6 * n) / 71)).toBe('drift');
    expect(kindOf((n) => (8 * n) / 71)).toBe('drift');
    expect(kindOf((n) => (10 * n) / 71)).toBe('pan');
    expect(kindOf((n) => (200 * n) / 71)).toBe('pan');
  });

  it('is none where it stays within half a pixel', () => {
    expect(kindOf((n) => (0.3 * n) / 71)).toBe('static');
  });

  it('is a tilt or a drift whichever way it goes', () => {
    const down = (px: number): Mat3[] => across(() => 0).map((_, k): Mat3 => [1, 0, 0, 0, 1, (px * k) / 70, 0, 0, 1]);
    expect(describeMove(down(60), W, H, 24, false).move).toBe('tilt');
    expect(describeMove(down(4), W, H, 24, false).move).toBe('drift');
  });
});
