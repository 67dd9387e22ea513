/**
 * Balls lit by a model of its own (key, fill and a floor's light by the normal), as the peel's analysis would give
 * them: for tests of what a cloth throws back.
 */
import type { FrameAnalysis } from './frame-analysis.js';

/** Pixels, and cells, that a ball's square is high and wide. */
export const SIDE = 60;

export type Rgb = readonly [number, number, number];

/**
 * Balls beside each other, each of one reflectance; light from above left, the floor's from below. `bounce`: the
 * floor's light over the other. One pixel a cell.
 */
export function balls(
  coats: readonly Rgb[],
  cloth: Rgb,
): { analysis: FrameAnalysis; alpha: Float32Array; bounce: Float32Array } {
  const w = SIDE * coats.length,
    h = SIDE,
    n = w * h,
    means = new Float32Array(9 * n),
    alpha = new Float32Array(n),
    inside = new Float32Array(n),
    colour = new Float32Array(3 * n),
    bounce = new Float32Array(n);
  for (let y = 0; y < h; y += 1)
    for (let x = 0; x < w; x += 1) {
      const i = y * w + x,
        coat = coats[Math.floor(x / SIDE)]!,
        u = ((x % SIDE) + 0.5 - SIDE / 2) / (SIDE / 2 - 4),
        v = (y + 0.5 - SIDE / 2) / (SIDE / 2 - 4),
        r = Math.hypot(u, v),
        z = Math.sqrt(Math.max(0, 1 - r * r)),
        white = 0.12 + 0.9 * Math.max(0, -0.5 * u - 0.6 * v + 0.62 * z),
        seen = 0.5 * Math.max(0, 0.5 + 0.5 * v);
      if (r < 1) {
        alpha[i] = 1;
        inside[i] = (1 - r) * (SIDE / 2 - 4);
        bounce[i] = seen / white;
      }
      for (let c = 0; c < 3; c += 1) {
        means[c * n + i] = coat[c]! * (white + seen * cloth[c]!);
        colour[c * n + i] = cloth[c]!;
      }
    }
  const small = { width: w, height: h, block: 1, data: colour };
  return {
    analysis: {
      small,
      field: { colour, sure: new Uint8Array(n), limit: 0, noise: 0 },
      screen: new Uint8Array(n),
      fromScreen: inside,
      fromPerformer: inside,
      grid: { width: w, height: h },
      cell: 1,
      weights: new Float32Array(3 * n),
      performer: means,
      residual: means,
      matte: alpha,
      occupied: true,
    },
    alpha,
    bounce,
  };
}
