/**
 * Round bodies cut by a take's border that the test laid: its side and length; whole bodies and those the plate itself
 * cuts have none.
 */
import { describe, expect, it } from 'vitest';
import type { Mat3 } from '../../geometry/mat3.js';
import { readTakeBorder } from './take-border.js';

const W = 320,
  H = 240,
  WINDOW = [0, 0, W, H] as const,
  TAKE = [200, 150] as const;

/** A round body about (cx, cy), soft by a px, that the take's picture (laid by m) cuts off. */
function matteOf(cx: number, cy: number, r: number, x0: number, y0: number, x1: number, y1: number): Float32Array {
  const out = new Float32Array(W * H),
    soft = (d: number): number => Math.min(1, Math.max(0, 0.5 + d / 1.6));
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++)
      out[y * W + x] = Math.min(
        soft(r - Math.hypot(x + 0.5 - cx, y + 0.5 - cy)),
        soft(x + 0.5 - x0),
        soft(x1 - x - 0.5),
        soft(y + 0.5 - y0),
        soft(y1 - y - 0.5),
      );
  return out;
}

const laid = (k: number, x: number, y: number): Mat3 => [k, 0, x, 0, k, y, 0, 0, 1];

describe("the take's border", () => {
  it('is read where it cuts a body inside the plate, at its length and side', () => {
    // The take is laid at 40, 30 and 1.2 times as large: its lower side at 210.
    const m = laid(1.2, 40, 30),
      cut = readTakeBorder(matteOf(160, 200, 50, 40, 30, 280, 210), W, H, m, TAKE, WINDOW, false)!;
    expect(cut.side).toBe('bottom');
    expect(cut.lengthPx).toBeGreaterThan(85);
    expect(cut.lengthPx).toBeLessThan(102);
    expect(cut.at[1]).toBeLessThan(210);
    expect(cut.at[3]).toBeGreaterThan(210);
    const left = readTakeBorder(matteOf(50, 120, 40, 40, 30, 280, 210), W, H, m, TAKE, WINDOW, false)!;
    expect(left.side).toBe('left');
    // Mirrored, the sides change places.
    expect(
      readTakeBorder(
        matteOf(50, 120, 40, 40, 30, 280, 210),
        W,
        H,
        [-1.2, 0, 280, 0, 1.2, 30, 0, 0, 1],
        TAKE,
        WINDOW,
        false,
      )!.side,
    ).toBe('right');
  });

  it("is not read off a whole body, nor one that the plate's picture or its bars cut", () => {
    expect(
      readTakeBorder(matteOf(160, 150, 50, 40, 30, 280, 210), W, H, laid(1.2, 40, 30), TAKE, WINDOW, false),
    ).toBeNull();
    // A round body that only touches the side.
    expect(
      readTakeBorder(matteOf(160, 160, 50, -99, -99, 999, 999), W, H, laid(1.2, 40, 30), TAKE, WINDOW, false)
        ?.lengthPx ?? 0,
    ).toBeLessThan(14);
    expect(readTakeBorder(matteOf(160, 220, 50, 0, 0, W, H), W, H, laid(1.2, 40, 60), TAKE, WINDOW, false)).toBeNull();
    expect(
      readTakeBorder(matteOf(160, 200, 50, 40, 30, 280, 208), W, H, laid(1.2, 40, 30), TAKE, [0, 0, W, 209], false),
    ).toBeNull();
  });

  it('is found off its place where the view was shifted, and only then', () => {
    const matte = matteOf(160, 200, 50, 40, 30, 280, 202),
      m = laid(1.2, 40, 30);
    expect(readTakeBorder(matte, W, H, m, TAKE, WINDOW, false)).toBeNull();
    expect(readTakeBorder(matte, W, H, m, TAKE, WINDOW, true)!.lengthPx).toBeGreaterThan(85);
  });
});
