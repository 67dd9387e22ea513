/**
 * Paving with joints of known width, with and without a shadow over it: the width that is found and what is still
 * taken for shadow.
 */
import { describe, expect, it } from 'vitest';
import { createPicture, type Picture } from '../../image/picture.js';
import { darkLinesPx, withoutDarkLines } from './dark-lines.js';
import { ownShadowOf, ownShadowToBorder, softened } from './own-shadow.js';

const LIT = [0.2, 0.17, 0.14] as const,
  T = [0.2, 0.24, 0.3] as const;
const W = 120,
  H = 60,
  RADIUS = 3;

/** A ground of `colour(x, y)` times the lit stone's. */
function ground(colour: (x: number, y: number) => readonly number[]): Picture {
  const p = createPicture(W, H, 3);
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) for (let c = 0; c < 3; c++) p.data[c * W * H + y * W + x] = LIT[c]! * colour(x, y)[c]!;
  return p;
}

/** Away from the picture's edge, where a joint may be cut. */
const inner = Array.from({ length: W * H }, (_, i) => i).filter((i) => {
  const x = i % W,
    y = Math.floor(i / W);
  return x >= 10 && x < W - 10 && y >= 10 && y < H - 10;
});
const own = ownShadowOf({ linear: LIT, spread: 0.15 }, T)!;
const stone = [1, 1, 1],
  joint = [0.2, 0.2, 0.22];
const isJoint = (x: number, y: number): boolean => x % 14 < 3 || y % 14 < 3;

/** How far pixels are taken for shadow, with the lines filled by so much. */
function taking(p: Picture, half: number): (x: number, y: number) => number {
  const soft = softened(p, RADIUS),
    sharp = half === 0 ? p : withoutDarkLines(p, half);
  return (x, y) => ownShadowToBorder(own, soft, y * W + x, sharp, y * W + x);
}

describe('dark lines of a ground', () => {
  const paved = ground((x, y) => (isJoint(x, y) ? joint : stone));

  it('are found as wide as they are, and no longer taken for shadow', () => {
    const half = darkLinesPx(paved, own, RADIUS, inner);
    // Joints of three pixels: a window of three leaves them, one of five fills them.
    expect(half).toBe(2);
    expect(taking(paved, 0)(43, 34)).toBeGreaterThan(0.5);
    expect(taking(paved, half)(43, 34)).toBe(0);
  });

  it('leave a broad shadow over them where it is', () => {
    const dark = ground((x, y) => (isJoint(x, y) ? joint : stone).map((v, c) => (x < 60 ? v * T[c]! : v))),
      half = darkLinesPx(dark, own, RADIUS, inner),
      taken = taking(dark, half);
    expect(half).toBe(2);
    for (let y = 8; y < H - 8; y++)
      for (let x = 10; x < W - 10; x++)
        if (x < 60) expect(taken(x, y)).toBeGreaterThan(0.9);
        else expect(taken(x, y)).toBeLessThan(0.1);
  });

  it('are not looked for on a plain ground, with or without a shadow on it', () => {
    expect(
      darkLinesPx(
        ground(() => stone),
        own,
        RADIUS,
        inner,
      ),
    ).toBe(0);
    expect(
      darkLinesPx(
        ground((x) => (x < 60 ? T : stone)),
        own,
        RADIUS,
        inner,
      ),
    ).toBe(0);
    expect(
      darkLinesPx(
        ground(() => stone),
        own,
        RADIUS,
        [],
      ),
    ).toBe(0);
  });
});
