/**
 * What is mirrored in a rough surface: blurred the more the farther from the mirrored point of contact it stands.
 */
import { gaussianPlane } from '../../image/gaussian.js';
import type { Picture } from '../../image/picture.js';

/** Pictures blurred ever more, between which is read. */
const STEPS = 5;

/**
 * Blurs `p` in place by `slope` × `away` px aside and that over `flat` up and down: read between pictures blurred ever
 * more.
 */
export function roughen(p: Picture, away: Float32Array, slope: number, flat: number, tall: number): void {
  const { width: w, height: h } = p,
    m = w * h,
    most = slope * tall;
  if (most < 0.3) return;
  const sharp = p.data.slice(),
    levels: Float32Array[] = [sharp],
    sigmas = [0];
  for (let s = 0; s < STEPS; s++) {
    const sigma = most / 2 ** (STEPS - 1 - s);
    if (sigma < 0.3) continue;
    const level = new Float32Array(4 * m);
    for (let c = 0; c < 4; c++)
      gaussianPlane(
        sharp.subarray(c * m, (c + 1) * m),
        w,
        h,
        sigma,
        Math.min(sigma / flat, 0.5 * tall),
        level.subarray(c * m, (c + 1) * m),
        'zero',
      );
    levels.push(level);
    sigmas.push(sigma);
  }
  for (let i = 0; i < m; i++) {
    const want = slope * away[i]!;
    let k = 0;
    while (k < levels.length - 2 && want > sigmas[k + 1]!) k++;
    const t = levels.length < 2 ? 0 : Math.min(1, Math.max(0, (want - sigmas[k]!) / (sigmas[k + 1]! - sigmas[k]!)));
    for (let c = 0; c < 4; c++) {
      const a = levels[k]![c * m + i]!,
        b = levels[Math.min(levels.length - 1, k + 1)]![c * m + i]!;
      p.data[c * m + i] = a + (b - a) * t;
    }
  }
}
