/** Noise of known size on a slope: what is read of it. */
import { expect, test } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { createPicture } from '../../image/picture.js';
import { lumaNoise } from './luma-noise.js';

test('the noise of a sloping plane is its own, not the slope', () => {
  const p = createPicture(80, 80, 3);
  const n = 6400;
  const random = new RandomStream(3, 1);
  for (let y = 0; y < 80; y++)
    for (let x = 0; x < 80; x++) {
      const e = 0.01 * random.normal();
      for (let c = 0; c < 3; c++) p.data[c * n + y * 80 + x] = 0.2 + 0.004 * x + 0.002 * y + e;
    }
  expect(lumaNoise(p, [40, 40, 30, 25, 20])).toBeGreaterThan(0.0088);
  expect(lumaNoise(p, [40, 40, 30, 25, 20])).toBeLessThan(0.0112);
  expect(lumaNoise(p, [400, 400, 10, 10, 0])).toBe(0);
});
