/**
 * Homography from point pairs of which many may be wrong: `robustFit` (MAGSAC++) over four-point samples, then a robust
 * refinement of the transfer error. Samples whose four points change their cyclic sense are refused before scoring
 * (orientation test, Chum & Matas, *Randomized RANSAC*, 2004).
 */
import { RandomStream } from '../core/random.js';
import { homographyFromPoints, homographyFromQuad, refineHomography } from './homography.js';
import { type Mat3, type Point2 } from './mat3.js';
import { robustFit } from './robust.js';

/** A homography that most pairs agree with. */
export interface RobustHomography {
  readonly homography: Mat3;
  /** Share of pairs within the cut-off. */
  readonly support: number;
  /** Weighted rms transfer error per coordinate, px. */
  readonly rmsPx: number;
}

/**
 * @param maxSigmaPx largest localisation noise thought possible (one coordinate), default 1.
 * Returns null where fewer than four pairs agree.
 */
export function robustHomography(
  from: readonly Point2[],
  to: readonly Point2[],
  options: { seed?: number; maxSigmaPx?: number; guess?: Mat3 | null; maxSamples?: number } = {},
): RobustHomography | null {
  const n = from.length;
  if (n < 4) return null;
  const maxSigma = options.maxSigmaPx ?? 1;
  const found = robustFit<Mat3>({
    count: n,
    sampleSize: 4,
    maxSigma,
    random: new RandomStream(options.seed ?? 1, n),
    guess: options.guess ?? null,
    maxSamples: options.maxSamples ?? 2000,
    fit: (indices, weights) => {
      if (weights === undefined) {
        const a = indices.map((i) => from[i]!);
        const b = indices.map((i) => to[i]!);
        return sameSense(a, b) ? homographyFromQuad(a, b) : null;
      }
      return homographyFromPoints(from, to, weights);
    },
    residuals: (h, out) => transferErrors(h, from, to, out),
  });
  if (found === null) return null;
  const inside = from.map((_, i) => i).filter((i) => found.weights[i]! > 0);
  if (inside.length < 4) return null;
  const refined = refineHomography(
    found.model,
    inside.map((i) => from[i]!),
    inside.map((i) => to[i]!),
    { kind: 'tukey', scale: 3 * maxSigma },
  );
  return { homography: refined.homography, support: found.support, rmsPx: refined.rmsPx };
}

/** |to − H from| for each pair; Infinity for points that H sends behind the picture plane. */
function transferErrors(h: Mat3, from: readonly Point2[], to: readonly Point2[], out: Float64Array): void {
  for (let i = 0; i < from.length; i++) {
    const [x, y] = from[i]!;
    const w = h[6] * x + h[7] * y + h[8];
    if (!(w * h[8] > 0)) {
      out[i] = Infinity;
      continue;
    }
    const dx = (h[0] * x + h[1] * y + h[2]) / w - to[i]![0];
    const dy = (h[3] * x + h[4] * y + h[5]) / w - to[i]![1];
    out[i] = Math.sqrt(dx * dx + dy * dy);
  }
}

function sameSense(a: readonly Point2[], b: readonly Point2[]): boolean {
  for (const [i, j, k] of [
    [0, 1, 2],
    [0, 1, 3],
    [0, 2, 3],
    [1, 2, 3],
  ] as const) {
    const sa = area(a[i]!, a[j]!, a[k]!);
    const sb = area(b[i]!, b[j]!, b[k]!);
    if (sa * sb <= 0) return false;
  }
  return true;
}

function area(p: Point2, q: Point2, r: Point2): number {
  return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]);
}
