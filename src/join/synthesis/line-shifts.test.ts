/** A made sky with uprights and slanting lines that run into a hole: the shifts offered against their direction. */
import { describe, expect, it } from 'vitest';
import { lineShifts } from './line-shifts.js';

const W = 60,
  H = 40,
  DEEP = 12;

/** A sky that brightens downwards; its top rows are the hole. `paint` says what stands before it. */
function sky(paint: (x: number, y: number) => readonly [number, number, number] | null): {
  rgb: Float32Array;
  hole: Uint8Array;
  known: Uint8Array;
} {
  const rgb = new Float32Array(3 * W * H),
    hole = new Uint8Array(W * H),
    known = new Uint8Array(W * H);
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      const i = y * W + x,
        to = paint(x, y) ?? [0.4 + 0.006 * y, 0.35 + 0.005 * y, 0.3 + 0.003 * y];
      for (let c = 0; c < 3; c++) rgb[3 * i + c] = to[c]!;
      hole[i] = y < DEEP ? 1 : 0;
      known[i] = 1 - hole[i]!;
    }
  return { rgb, hole, known };
}

describe('shifts along the lines that run into a hole', () => {
  it("offers an upright's own direction, long enough for the hole", () => {
    const { rgb, hole, known } = sky((x) => (x >= 20 && x < 24 ? [0.3, 0.12, 0.08] : null));
    const found = lineShifts(rgb, hole, known, W, H, 8);
    expect(found.length).toBeGreaterThan(0);
    for (const s of found) {
      expect(s.dx).toBe(0);
      expect(s.dy).toBeGreaterThanOrEqual(DEEP);
    }
  });

  it('follows a slanting line', () => {
    const { rgb, hole, known } = sky((x, y) => {
      const a = Math.min(1, Math.max(0, 3 - Math.abs(x - 20 - y / 2)));
      return a <= 0 ? null : [0.4 + 0.5 * a, 0.4 + 0.5 * a, 0.3 + 0.5 * a];
    });
    const found = lineShifts(rgb, hole, known, W, H, 8);
    expect(found.length).toBeGreaterThan(0);
    for (const s of found) expect(Math.abs(s.dx - s.dy / 2)).toBeLessThanOrEqual(1);
  });

  it('offers nothing where no edge meets the hole', () => {
    const { rgb, hole, known } = sky((_, y) => (y > 30 ? [0.1, 0.1, 0.1] : null));
    expect(lineShifts(rgb, hole, known, W, H, 8)).toEqual([]);
  });

  it('does not repeat what ends: a thing too short for the hole', () => {
    const { rgb, hole, known } = sky((x, y) => (x >= 20 && x < 24 && y < DEEP + 6 ? [0.3, 0.12, 0.08] : null));
    expect(lineShifts(rgb, hole, known, W, H, 8)).toEqual([]);
  });
});
