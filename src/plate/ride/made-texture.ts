/** A made plane for the tests of what follows regions. */
import { RandomStream } from '../../core/random.js';

/** Luma known at every point (px), about .5: forty seeded sines of many directions, soft enough to sample. */
export function madeTexture(seed: number): (x: number, y: number) => number {
  const rng = new RandomStream(seed);
  const waves = Array.from({ length: 40 }, () => {
    const t = rng.uniform() * Math.PI;
    const k = 0.03 + 0.35 * rng.uniform() ** 2;
    return [k * Math.cos(t), k * Math.sin(t), rng.uniform() * 6.28, 0.09 / (1 + 4 * k)] as const;
  });
  return (x, y) => waves.reduce((s, [a, b, p, m]) => s + m * Math.sin(a * x + b * y + p), 0.5);
}
