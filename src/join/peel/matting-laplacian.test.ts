/**
 * Coverage along colour lines: where the picture mixes two colours linearly, what is known on both sides gives the
 * mixture back.
 */
import { expect, it } from 'vitest';
import { createPicture } from '../../image/picture.js';
import { settleByLaplacian } from './matting-laplacian.js';

it('gives back a linear mixture from a rough first estimate, and leaves what is known alone', () => {
  const w = 40,
    h = 24,
    n = w * h,
    coded = createPicture(w, h, 3),
    truth = new Float32Array(n),
    band = new Uint8Array(n),
    alpha = new Float32Array(n);
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const i = y * w + x,
        edge = 20 + 3 * Math.sin(y / 3);
      truth[i] = Math.min(1, Math.max(0, (x - edge) / 6 + 0.5));
      for (let c = 0; c < 3; c++)
        coded.data[c * n + i] = truth[i]! * [0.8, 0.6, 0.4][c]! + (1 - truth[i]!) * [0.2, 0.4, 0.3][c]!;
      band[i] = Math.abs(x - edge) < 9 ? 1 : 0;
      alpha[i] = band[i] === 1 ? (x > edge ? 1 : 0) : truth[i]!;
    }
  const before = alpha.slice(),
    error = (a: Float32Array): number => Math.sqrt(a.reduce((s, v, i) => s + (v - truth[i]!) ** 2, 0) / n);
  settleByLaplacian(coded, alpha, band);
  expect(error(alpha)).toBeLessThan(0.35 * error(before));
  for (let i = 0; i < n; i++) if (band[i] === 0) expect(alpha[i]).toBe(before[i]);
});
