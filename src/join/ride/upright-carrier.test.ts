/** Shears, rolls and noisy frames of known motion: the upright's places against it. */
import { describe, expect, it } from 'vitest';
import { apply, invert, multiply, type Mat3 } from '../../geometry/mat3.js';
import { RandomStream } from '../../core/random.js';
import { notMeasurable } from '../../core/measure.js';
import type { CameraMove } from '../../plate/types.js';
import { travelsUnknown, uprightCarrier } from './upright-carrier.js';

function moveOf(to: readonly Mat3[], support: (i: number) => number, panDeg: number | null = null): CameraMove {
  return {
    move: 'pan',
    focalPx: notMeasurable('px', 'not told'),
    shake: { rmsPx: 0, peakHz: null },
    frames: to.map((m, i) => ({
      frame: i + 5,
      homographyToFirst: invert(m),
      panDeg,
      tiltDeg: panDeg,
      rollDeg: panDeg,
      support: support(i),
    })),
  } as CameraMove;
}

describe('an upright on a set whose camera travels', () => {
  it('does not lean with the parallax of the set', () => {
    // Near things low in the picture go faster than far ones above: a shear, as a plane through both has it.
    const shear = Array.from(
      { length: 9 },
      (_, i): Mat3 => [1 + 0.002 * i, 0.01 * i, -2 * i, 0, 1 + 0.002 * i, 0, 0, 0, 1],
    );
    const c = uprightCarrier(
      moveOf(shear, () => 0.9),
      5,
      [400, 300],
    );
    const g = apply(c.at(13), 400, 300),
      t = apply(c.at(13), 400, 150);
    expect(g[0]).toBeCloseTo(apply(shear[8]!, 400, 300)[0], 9);
    expect(g[1]).toBeCloseTo(apply(shear[8]!, 400, 300)[1], 9);
    expect(t[0] - g[0]).toBeCloseTo(0, 6);
    expect(g[1] - t[1]).toBeCloseTo(150 * 1.016, 6);
  });

  it('goes with a roll, and is exact for a similarity', () => {
    const a = (2 * Math.PI) / 180,
      m: Mat3 = [1.1 * Math.cos(a), -1.1 * Math.sin(a), 4, 1.1 * Math.sin(a), 1.1 * Math.cos(a), -7, 0, 0, 1];
    const c = uprightCarrier(
      moveOf([[1, 0, 0, 0, 1, 0, 0, 0, 1], m], () => 1),
      5,
      [200, 250],
    );
    for (const [px, py] of [
      [200, 250],
      [200, 100],
      [260, 90],
    ] as const) {
      expect(apply(c.at(6), px, py)[0]).toBeCloseTo(apply(m, px, py)[0], 9);
      expect(apply(c.at(6), px, py)[1]).toBeCloseTo(apply(m, px, py)[1], 9);
    }
  });

  it('lays badly supported frames through their neighbours', () => {
    const random = new RandomStream(7),
      clean = Array.from({ length: 30 }, (_, i): Mat3 => [1, 0, 3 * i, 0, 1, i, 0, 0, 1]);
    const noisy = clean.map(
      (m, i): Mat3 => (i % 3 === 1 ? multiply([1, 0, 6 * random.normal(), 0, 1, 6 * random.normal(), 0, 0, 1], m) : m),
    );
    const c = uprightCarrier(
      moveOf(noisy, (i) => (i % 3 === 1 ? 0.08 : 0.4)),
      5,
      [100, 100],
    );
    let worst = 0;
    for (let i = 0; i < 30; i++) {
      const [x, y] = apply(c.at(5 + i), 100, 100);
      worst = Math.max(worst, Math.hypot(x - 100 - 3 * i, y - 100 - i));
    }
    expect(worst).toBeLessThan(0.8);
  });

  it('is asked for only where no turn explains a motion', () => {
    const still = [
      [1, 0, 0, 0, 1, 0, 0, 0, 1],
      [1, 0, 3, 0, 1, 0, 0, 0, 1],
    ] as Mat3[];
    expect(travelsUnknown(undefined)).toBe(false);
    expect(travelsUnknown({ ...moveOf(still, () => 1), move: 'static' })).toBe(false);
    expect(travelsUnknown(moveOf(still, () => 1, 0.3))).toBe(false);
    expect(travelsUnknown(moveOf(still, () => 1))).toBe(true);
  });
});
