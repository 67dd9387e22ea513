/**
 * How far the drawn line speaks for the coverage about it, where colours do not. Unmixing between two clouds
 * (`local-unmix.ts`) estimates a pixel's coverage with a variance of 1/(dᵀΣ⁻¹d), d the distance of the clouds' means
 * and Σ their scatter: a grey head before a grey fence has next to none, and its edge comes out as a broad half-seen
 * cloud. The line says where the coverage is a half, and roughly how it falls. Both are put together as independent
 * estimates are, by their inverse variances (the posterior mean of two Gaussians; common practice).
 */
import type { CellGrid } from './local-unmix.js';

/**
 * Sd of the coverage that the line alone foretells, in the band: .35 and .15 do nearly as well on furred subjects over
 * real clips (`bench/peel-outline.ts --hand`).
 */
const LINE_SD = 0.3;
/** Half of the way over which coverage falls across the line, share of the band. */
const FALL = 0.35;

/**
 * Variance of what unmixing says, a pixel.
 * @param weights α = w · (I − B), planar 3 × cells @param scatter the six covariances of both clouds together a cell,
 * planar: rr rg rb gg gb bb @param noise variance added to each channel
 */
export function unmixingVariance(
  weights: Float32Array,
  scatter: (cell: number, field: number) => number,
  grid: CellGrid,
  noise: number,
): Float32Array {
  const cells = grid.width * grid.height;
  const out = new Float32Array(cells);
  for (let j = 0; j < cells; j += 1) {
    const a = weights[j]!,
      b = weights[cells + j]!,
      c = weights[2 * cells + j]!;
    out[j] =
      a * a * (scatter(j, 0) + noise) +
      b * b * (scatter(j, 3) + noise) +
      c * c * (scatter(j, 5) + noise) +
      2 * (a * b * scatter(j, 1) + a * c * scatter(j, 2) + b * c * scatter(j, 4));
  }
  return out;
}

/** Mean of α² over a uniform α, by which either cloud's scatter counts (`unmixingModel`). */
const SHARE = 1 / 3;
/** Channels of a field of second moments: rr rg rb gg gb bb. */
const PAIRS = [
  [0, 0],
  [0, 1],
  [0, 2],
  [1, 1],
  [1, 2],
  [2, 2],
] as const;

/**
 * Covariances of both clouds together by cell and field, as unmixing counts them.
 * @param performer moments, 9 × cells @param residual moments of I − B on the set about its mean, 9 × cells
 */
export function scatterOf(
  performer: Float32Array,
  residual: Float32Array,
  cells: number,
): (cell: number, field: number) => number {
  return (j, field) => {
    const [p, q] = PAIRS[field]!;
    const own = performer[(3 + field) * cells + j]! - performer[p * cells + j]! * performer[q * cells + j]!;
    return SHARE * (own + residual[(3 + field) * cells + j]!);
  };
}

/** Coverage by the line alone at a signed distance inside it, px. */
export function coverageByLine(depthPx: number, bandPx: number): number {
  return Math.min(1, Math.max(0, 0.5 + depthPx / (2 * FALL * bandPx)));
}

/** Both together. */
export function heldToLine(unmixed: number, variance: number, byLine: number): number {
  const k = LINE_SD * LINE_SD;
  return (unmixed * k + byLine * variance) / (k + variance);
}
