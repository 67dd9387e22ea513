/** A performer that walks is not blamed for its own steps. */
import { describe, expect, it } from 'vitest';
import { blank, told } from './made-readings.js';

describe('a performer that bobs as it walks', () => {
  const bob = [1, 2, 3, 4, 5].map((frame) => ({ frame, x: 0, y: frame % 2 === 0 ? 1.5 : -1.5 }));
  const where = (off: number) => [1, 3, 5].map((frame) => ({ frame, x: off, y: 0 }));
  const steady = bob.map((p) => ({ ...p, plain: [p.x, p.y] as const }));
  it('is not blamed where its picture lies where the recipe puts it and the ride is smooth', () => {
    expect(told({ ...blank(), jitter: steady, against: where(0.05) }, 'slip').passes).toBe(true);
  });
  it('is blamed where nothing proves its place, or the ride itself jumps', () => {
    expect(told({ ...blank(), jitter: steady }, 'slip').passes).toBe(false);
    expect(told({ ...blank(), jitter: steady, against: where(0.4) }, 'slip').passes).toBe(false);
    const jumps = bob.map((p) => ({ ...p, plain: [p.x, 3 * p.y] as const }));
    expect(told({ ...blank(), jitter: jumps, against: where(0.05) }, 'slip').passes).toBe(false);
  });
});
