/** A grey body and its shadow on ground of the body's own grey, whose outline is known. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { emptySet, notOfSet } from './empty-set.js';
import type { SmallLinear } from './small-linear.js';

const W = 200,
  H = 140,
  N = W * H;
const body = (x: number, y: number): number => Math.hypot((x - 90) / 24, (y - 65) / 38);
const inShade = (x: number, y: number): boolean => Math.abs(y - 96 - 0.1 * (x - 110)) < 9 && x > 100 && x < 175;

/**
 * Ground with texture of depth `rough`; a coat as grey as it in shade, with texture of its own; `gain` of the camera
 * and its lifted black.
 */
function frame(rough: number, stands: boolean, gain: number, lift: number, seed: number): SmallLinear {
  const random = new RandomStream(seed, 41),
    coat = new RandomStream(9, 4),
    data = new Float32Array(3 * N);
  for (let y = 0, i = 0; y < H; y++)
    for (let x = 0; x < W; x++, i++) {
      const texture = 1 + rough * Math.sin(0.8 * x + 2 * Math.sin(0.27 * y)) * Math.sin(0.9 * y),
        fur = 1 + 0.3 * coat.normal();
      for (let p = 0; p < 3; p++) {
        const ground = [0.3, 0.29, 0.27][p]! * (1 - (0.4 * y) / H) * texture,
          light = stands && inShade(x, y) ? [0.28, 0.32, 0.42][p]! : 1;
        const v = stands && body(x, y) < 1 ? 0.11 * Math.max(0.2, fur) : ground * light;
        data[p * N + i] = (Math.sqrt(lift + gain * v) + 0.004 * random.normal()) ** 2;
      }
    }
  return { width: W, height: H, block: 1, data };
}

/** Shares of the body's inside and of the shadow's that are taken for somebody, and small pixels taken elsewhere. */
function found(rough: number, gain: number, lift: number): { inside: number; shade: number; away: number } {
  const set = emptySet([3, 4, 5].map((k) => frame(rough, false, 1, 0, k))),
    mask = notOfSet(frame(rough, true, gain, lift, 6), set).inside;
  let a = 0,
    b = 0,
    c = 0,
    d = 0,
    away = 0;
  for (let y = 0, i = 0; y < H; y++)
    for (let x = 0; x < W; x++, i++) {
      if (body(x, y) < 0.9) {
        b++;
        a += mask[i]!;
      } else if (body(x, y) > 1.12) {
        if (inShade(x, y)) {
          d++;
          c += mask[i]!;
        } else away += mask[i]!;
      }
    }
  return { inside: a / b, shade: c / d, away };
}

describe('who stands in a known set', () => {
  it("is told from its shadow though its coat has the shaded ground's colour", () => {
    const { inside, shade, away } = found(0.25, 1, 0);
    expect(inside).toBeGreaterThan(0.97);
    expect(shade).toBeLessThan(0.06);
    expect(away).toBeLessThan(0.002 * N);
  });

  it('is told as well where the camera exposed anew and lifted its black', () => {
    const { inside, shade, away } = found(0.25, 0.7, 0.004);
    expect(inside).toBeGreaterThan(0.95);
    expect(shade).toBeLessThan(0.12);
    expect(away).toBeLessThan(0.003 * N);
  });
});
