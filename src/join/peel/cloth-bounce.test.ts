/**
 * The bounce's share is held against balls lit by a model of its own: key, fill and a blue floor's light by the normal.
 */
import { describe, expect, it } from 'vitest';
import { clothBounce } from './cloth-bounce.js';
import { balls, SIDE, type Rgb } from './made-balls.js';

const CLOTH = [0.03, 0.1, 0.4] as const;

/**
 * Mean over a ball's inside of |ln blue over red| that is off from the coat's own, as seen and with the bounce divided
 * out.
 */
function off(coats: readonly Rgb[], which: number): { seen: number; left: number } {
  const { analysis, alpha } = balls(coats, CLOTH),
    w = SIDE * coats.length,
    n = w * SIDE,
    got = clothBounce(analysis, alpha, w, [0, 0, w, SIDE])!,
    own = Math.log(coats[which]![2] / coats[which]![0]);
  let seen = 0,
    left = 0,
    count = 0;
  for (let i = 0; i < n; i += 1) {
    if (Math.floor((i % w) / SIDE) !== which || analysis.fromScreen[i]! < 2) continue;
    const ratio = Math.log(analysis.performer[2 * n + i]! / analysis.performer[i]!),
      q = got.fields[i]!;
    seen += Math.abs(ratio - own);
    left += Math.abs(ratio - Math.log((1 + q) / (1 + q * got.red)) - own);
    count += 1;
  }
  return { seen: seen / count, left: left / count };
}

describe('the bounce of a blue cloth', () => {
  it('is divided out of tan, brown and ginger coats', () => {
    for (const coat of [
      [0.42, 0.27, 0.14],
      [0.12, 0.07, 0.04],
      [0.4, 0.17, 0.055],
    ] as const) {
      const { seen, left } = off([coat], 0);
      expect(seen).toBeGreaterThan(0.1);
      expect(left).toBeLessThan(0.5 * seen);
    }
  });

  it('leaves a lit pink ball beside a tan one pink', () => {
    const pink = [0.7, 0.25, 0.45] as const,
      { analysis, alpha } = balls([[0.42, 0.27, 0.14], pink], CLOTH),
      w = 2 * SIDE,
      n = w * SIDE,
      got = clothBounce(analysis, alpha, w, [0, 0, w, SIDE])!,
      i = (SIDE >> 1) * w + SIDE + (SIDE >> 1) - 8,
      q = got.fields[i]!,
      blue = analysis.performer[2 * n + i]! / (1 + q),
      red = analysis.performer[i]! / (1 + q * got.red);
    expect(blue / red).toBeGreaterThan(0.85 * (pink[2] / pink[0]));
    // Nor is its blue limited below what it has by itself.
    expect(got.fields[n + i]!).toBeGreaterThan(0.85 * (pink[2] / Math.sqrt(pink[0] * pink[1])));
  });

  it('finds little where no cloth throws any light back', () => {
    const { analysis, alpha } = balls([[0.42, 0.27, 0.14]], [0, 0, 1e-3]),
      got = clothBounce(analysis, alpha, SIDE, [0, 0, SIDE, SIDE])!;
    expect(Math.max(...got.fields.subarray(0, SIDE * SIDE))).toBeLessThan(0.02);
  });

  it('is not asked of a green screen, nor of a frame without performer', () => {
    const { analysis, alpha } = balls([[0.4, 0.3, 0.2]], [0.05, 0.4, 0.1]);
    expect(clothBounce(analysis, alpha, SIDE, [0, 0, SIDE, SIDE])).toBeNull();
    const blue = balls([[0.4, 0.3, 0.2]], CLOTH);
    expect(clothBounce({ ...blue.analysis, occupied: false }, blue.alpha, SIDE, [0, 0, SIDE, SIDE])).toBeNull();
    expect(clothBounce(blue.analysis, new Float32Array(SIDE * SIDE), SIDE, [0, 0, SIDE, SIDE])).toBeNull();
  });
});
