/** A drawn disc and head given depths: the front surface moves there by as much, and nowhere else. */
import { describe, expect, it } from 'vitest';
import { addDepth } from './front-depth.js';
import { frontAt, frontField } from './view-shift.js';

const W = 200,
  H = 240,
  FOOT: [number, number] = [100, 235];

/** A standing disc with a head: alpha over W × H. */
const matte = Float32Array.from({ length: W * H }, (_, i) => {
  const x = i % W,
    y = Math.floor(i / W);
  return Math.hypot(x - 100, y - 170) < 65 || Math.hypot(x - 130, y - 70) < 40 ? 1 : 0;
});

describe('depth that the take told, in the front surface', () => {
  it('moves the part that it was told of by its depth, and no other', () => {
    const parts = [
      { x: 0, u: 0.3, r: 0.3, at: [0] },
      { x: 0.15, u: 0.8, r: 0.2, at: [0.1, 0.25] },
    ];
    const plain = frontField(matte, W, H, 0, 0)!,
      told = frontField(matte, W, H, 0, 0, 0, {
        bodies: [{ body: { lean: 0, head: 0, deep: 0, parts }, share: 1 }],
        foot: FOOT,
        elevation: 0,
      })!;
    const tall = 205,
      at = (x: number, y: number): number => (frontAt(told, x, y) - frontAt(plain, x, y)) / tall;
    expect(at(130, 70)).toBeCloseTo(0.25, 1);
    expect(Math.abs(at(100, 190))).toBeLessThan(0.02);
  });

  it('blends two bodies by their shares and leans one without parts', () => {
    const z = new Float32Array(100),
      lean = (v: number) => ({ lean: v, head: 0, deep: 0 });
    addDepth(
      { z, w: 10, h: 10, cell: 10, x0: 0, y0: 0, tall: 100 },
      {
        bodies: [
          { body: lean(0.2), share: 0.25 },
          { body: lean(0.6), share: 0.75 },
        ],
        foot: [50, 100],
        elevation: 0,
      },
    );
    // At .95 of the height: 100 · .95 · (.25 · .2 + .75 · .6).
    expect(z[5]! / 47.5).toBeCloseTo(1, 1);
    expect(z[95]! / 2.5).toBeCloseTo(1, 0);
  });
});
