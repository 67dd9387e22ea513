/**
 * Locally linear unmixing. In each cell of a coarse grid the performer's and the screen's colours are described by mean
 * and covariance (from pixels that surely belong to one of them, carried into the band between by pull-push), and the
 * pixel's coverage is the generalised least-squares solution of I = α F + (1 − α) B + noise along d = μF − μB:
 *
 *     α = dᵀ Σ⁻¹ (I − μB) / (dᵀ Σ⁻¹ d),   Σ = c (ΣF + ΣB) + ΣN
 *
 * which is the linear discriminant of Fisher (1936) between the two clouds, read as a mixing fraction (compare Ruzon
 * and Tomasi, "Alpha estimation in natural images", CVPR 2000, and Chuang et al., "A Bayesian approach to digital
 * matting", CVPR 2001, which use the same clouds). The result a cell is a linear model α = w · (I − B), a few
 * interpolations and products a pixel.
 */
import { kernels } from '../../image/kernels.js';
import { priorFill, priorFillPlain } from './prior-fill.js';
import { ownFloats, type Floats } from './work-space.js';

/** Fields a cell: mean r g b, then second moments rr rg rb gg gb bb. */
export const MOMENTS = 9;

export interface CellGrid {
  readonly width: number;
  readonly height: number;
}

export interface Moments {
  readonly grid: CellGrid;
  /** Means, fields × grid. */
  readonly moments: Float32Array;
  /** Sum of the weights a cell. */
  readonly evidence: Float32Array;
}

/**
 * Sums weighted colour moments of a picture into cells of `cell` × `cell` pixels and fills the grid.
 * @param colour planar RGB, w × h each
 * @param weight w × h, ≥ 0
 * @param fields MOMENTS, or 3 for the means alone
 * @returns moments, fields × grid; null where all weights are zero
 */
export function cellMoments(
  colour: Float32Array,
  weight: Float32Array,
  w: number,
  h: number,
  cell: number,
  prior: number,
  fields: 3 | 9 = MOMENTS,
  floats: Floats = ownFloats,
): Moments | null {
  const gw = Math.ceil(w / cell);
  const gh = Math.ceil(h / cell);
  const moments = floats(gw * gh * fields);
  const evidence = floats(gw * gh);
  const door = kernels();
  const scope = door.scope();
  try {
    const sums = scope.output(moments);
    const seen = scope.output(evidence);
    door.run(
      'cellSums',
      [scope.input(colour), scope.input(weight), w, h, cell, gw, gh, fields, seen, sums],
      gh,
      w * cell * 3,
    );
    const filled = priorFill(
      door.view(seen, gw * gh),
      door.view(sums, gw * gh * fields),
      fields,
      gw,
      gh,
      prior,
      door.view(sums, gw * gh * fields),
    );
    if (!filled) return null;
    scope.finish();
  } finally {
    scope.close();
  }
  return { grid: { width: gw, height: gh }, moments, evidence };
}

/** Plain twin of the kernels. */
export function cellMomentsPlain(
  colour: Float32Array,
  weight: Float32Array,
  w: number,
  h: number,
  cell: number,
  prior: number,
  fields: 3 | 9 = MOMENTS,
): Moments | null {
  const gw = Math.ceil(w / cell);
  const gh = Math.ceil(h / cell);
  const n = w * h;
  const g = gw * gh;
  const evidence = new Float32Array(g);
  const sums = new Float32Array(g * fields);
  for (let y = 0; y < h; y += 1) {
    const row = ((y / cell) | 0) * gw;
    for (let x = 0; x < w; x += 1) {
      const i = y * w + x;
      const k = weight[i]!;
      if (k <= 0) continue;
      const j = row + ((x / cell) | 0);
      const r = colour[i]!;
      const gr = colour[n + i]!;
      const b = colour[2 * n + i]!;
      evidence[j] = evidence[j]! + k;
      sums[j] = sums[j]! + k * r;
      sums[g + j] = sums[g + j]! + k * gr;
      sums[2 * g + j] = sums[2 * g + j]! + k * b;
      if (fields === 3) continue;
      sums[3 * g + j] = sums[3 * g + j]! + k * r * r;
      sums[4 * g + j] = sums[4 * g + j]! + k * r * gr;
      sums[5 * g + j] = sums[5 * g + j]! + k * r * b;
      sums[6 * g + j] = sums[6 * g + j]! + k * gr * gr;
      sums[7 * g + j] = sums[7 * g + j]! + k * gr * b;
      sums[8 * g + j] = sums[8 * g + j]! + k * b * b;
    }
  }
  const moments = new Float32Array(g * fields);
  if (!priorFillPlain(evidence, sums, fields, gw, gh, prior, moments)) return null;
  return { grid: { width: gw, height: gh }, moments, evidence };
}

/**
 * Linear model a cell: the three weights w of α = w · (I − B), planar 3 × grid. B itself is known finer than a cell.
 * @param performer moments (9 × cells)
 * @param screen mean screen colour (3 × cells)
 * @param residual moments of I − B on the screen (9 × cells)
 * @param noise variance added to every channel
 * @param share weight of the performer's and the screen's scatter (1/3 is the mean of α² over a uniform α)
 */
export function unmixingModel(
  performer: Float32Array,
  screen: Float32Array,
  residual: Float32Array,
  cells: number,
  noise: number,
  share = 1 / 3,
  dst: Float32Array = new Float32Array(3 * cells),
): Float32Array {
  const door = kernels();
  const scope = door.scope();
  try {
    door.run(
      'cellUnmix',
      [scope.input(performer), scope.input(screen), scope.input(residual), cells, noise, share, scope.output(dst)],
      Math.ceil(cells / 64),
      64 * 30,
    );
    scope.finish();
  } finally {
    scope.close();
  }
  return dst;
}

/** Plain twin of the kernel. */
export function unmixingModelPlain(
  performer: Float32Array,
  screen: Float32Array,
  residual: Float32Array,
  cells: number,
  noise: number,
  share = 1 / 3,
  dst: Float32Array = new Float32Array(3 * cells),
): Float32Array {
  for (let j = 0; j < cells; j += 1) {
    const fr = performer[j]!;
    const fg = performer[cells + j]!;
    const fb = performer[2 * cells + j]!;
    const dr = fr - screen[j]!;
    const dg = fg - screen[cells + j]!;
    const db = fb - screen[2 * cells + j]!;
    const ridge = noise + 1e-4 * (dr * dr + dg * dg + db * db);
    const c00 = share * (performer[3 * cells + j]! - fr * fr + residual[3 * cells + j]!) + ridge;
    const c01 = share * (performer[4 * cells + j]! - fr * fg + residual[4 * cells + j]!);
    const c02 = share * (performer[5 * cells + j]! - fr * fb + residual[5 * cells + j]!);
    const c11 = share * (performer[6 * cells + j]! - fg * fg + residual[6 * cells + j]!) + ridge;
    const c12 = share * (performer[7 * cells + j]! - fg * fb + residual[7 * cells + j]!);
    const c22 = share * (performer[8 * cells + j]! - fb * fb + residual[8 * cells + j]!) + ridge;
    const a00 = c11 * c22 - c12 * c12;
    const a01 = c02 * c12 - c01 * c22;
    const a02 = c01 * c12 - c02 * c11;
    const a11 = c00 * c22 - c02 * c02;
    const a12 = c01 * c02 - c00 * c12;
    const a22 = c00 * c11 - c01 * c01;
    const wr = a00 * dr + a01 * dg + a02 * db;
    const wg = a01 * dr + a11 * dg + a12 * db;
    const wb = a02 * dr + a12 * dg + a22 * db;
    const k = wr * dr + wg * dg + wb * db;
    const inverse = Math.abs(k) > 1e-30 ? 1 / k : 0;
    dst[j] = wr * inverse;
    dst[cells + j] = wg * inverse;
    dst[2 * cells + j] = wb * inverse;
  }
  return dst;
}
