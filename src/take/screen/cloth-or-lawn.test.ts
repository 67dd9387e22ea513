/** An empty set's green held to be cloth, paint or lawn, on made sets whose kind is known. */
import { describe, expect, it } from 'vitest';
import { GRADES, madeTake } from '../../../bench/made-screens.js';
import { RandomStream } from '../../core/random.js';
import { toLinear } from '../../media/convert.js';
import { clothDoubt, readCloth } from './cloth-or-lawn.js';
import { findScreenHue } from './screen-hue.js';
import { smallLinear, type SmallLinear } from '../../join/peel/small-linear.js';

const W = 480;
const H = 270;

/**
 * A colour under uneven light whose brightness strays by `rough` in clumps of 2 px; grey beyond `fills` of the width.
 */
function set(colour: readonly number[], rough: number, fills = 1): SmallLinear {
  const random = new RandomStream(4, 9);
  const data = new Float32Array(3 * W * H);
  const clump = new Map<number, number>();
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      const key = (y >> 1) * W + (x >> 1);
      if (!clump.has(key)) clump.set(key, Math.exp(rough * random.normal()));
      const light = clump.get(key)! * (1 - (0.4 * x) / W);
      for (let p = 0; p < 3; p++) data[p * W * H + y * W + x] = light * (x < fills * W ? colour[p]! : 0.3);
    }
  return { width: W, height: H, block: 1, data };
}

const doubt = (s: SmallLinear, useful?: Float32Array): string | null => {
  const hue = findScreenHue([s.data])!;
  return clothDoubt(readCloth(s, hue, useful), hue.family);
};
const LAWN = [0.1, 0.13, 0.035];
const PAINT = [0.24, 0.26, 0.06];
const CLOTH = [0.03, 0.33, 0.07];

describe('what is green in an empty set', () => {
  it('is a screen in every grade of cloth, as empty frames show it', () => {
    for (const grade of GRADES)
      expect(doubt(smallLinear(toLinear(madeTake(2, grade, 640, 360, 1, true)[0]!.frame))), grade.name).toBeNull();
    expect(doubt(set(CLOTH, 0.03))).toBeNull();
  });

  it('is paint where it is smooth and fills the frame, and grass where it is rough', () => {
    expect(doubt(set(PAINT, 0.01))).toBeNull();
    expect(doubt(set(LAWN, 0.2))).toMatch(/as rough as grass or leaves/);
    expect(doubt(set(CLOTH, 0.3))).toMatch(/as rough as grass or leaves/);
  });

  it('reads how far the light strays, whatever its fall-off', () => {
    const s = set(LAWN, 0.2);
    const read = readCloth(s, findScreenHue([s.data])!);
    expect(read.purity).toBeCloseTo(1.3, 1);
    // Clumps of 2 px are what one pixel of the halved picture shows; of 25 in the box one is itself.
    expect(Math.abs(read.rough - 0.2 * Math.sqrt(24 / 25))).toBeLessThan(0.02);
  });

  it('is no wall where an impure green leaves much of the frame, unless its part was marked', () => {
    const half = set(PAINT, 0.01, 0.4);
    const useful = Float32Array.from({ length: W * H }, (_, i) => (i % W < 0.4 * W ? 1 : 0));
    expect(doubt(half)).toMatch(/fills 4\d % of it|fills 3\d % of it/);
    expect(doubt(half, useful)).toBeNull();
    expect(doubt(set(CLOTH, 0.01, 0.4))).toBeNull();
  });
});
