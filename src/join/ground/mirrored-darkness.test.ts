/** A floor whose diffuse and mirrored light are known: how much of a shadow's darkness is its own. */
import { describe, expect, it } from 'vitest';
import { darknessUnderMirror } from './mirrored-darkness.js';

const floor: readonly (readonly [number, number])[] = [
  [0, 100],
  [300, 100],
  [300, 200],
  [0, 200],
];

describe('darkness of a shadow on a floor that mirrors', () => {
  it('is that of the channel which the mirrored set lightens least', () => {
    // Diffuse floor .6, .3, .15 of which .15 is left in shadow, under a mirrored wall of .08, .07, .06.
    const floorLit = [0.6, 0.3, 0.15],
      wall = [0.08, 0.07, 0.06],
      read = floorLit.map((d, c) => (0.15 * d + wall[c]!) / (d + wall[c]!)) as [number, number, number];
    expect(read[2] - read[0]).toBeGreaterThan(0.1);
    const t = darknessUnderMirror(read, [{ foot: [50, 150], tip: [120, 140] }], [floor])!;
    expect(t).toEqual([read[0], read[0], read[0]]);
    expect(Math.abs(t[0] - 0.15)).toBeLessThan(Math.abs(read[2] - 0.15));
  });

  it('is as it was read where the shadow lies beside the mirror, or nothing mirrors', () => {
    expect(darknessUnderMirror([0.2, 0.3, 0.4], [{ foot: [50, 50], tip: [120, 60] }], [floor])).toBeNull();
    expect(darknessUnderMirror([0.2, 0.3, 0.4], [{ foot: [50, 150], tip: [120, 140] }], [])).toBeNull();
  });
});
