/**
 * Hides the seam of a fill: what the picture and the fill differ by round the hole is carried smoothly over it and added (the
 * membrane of P. Pérez, M. Gangnet, A. Blake, "Poisson image editing", SIGGRAPH 2003, section 2; interpolated here by push-pull
 * over a band some pixels wide instead of one pixel's line, so that grain on the border draws no streaks). Differences that do
 * not belong to the light, such as somebody who passes beside the hole, are left out by a robust bound.
 */
import { distanceToSet } from '../image/distance.js';
import { plane, type Picture } from '../image/picture.js';
import { pushPull } from '../image/push-pull.js';
import { median } from '../image/statistics.js';

export interface SeamOptions {
  /** Band round the hole that is looked at, px. */
  readonly bandPx: number;
  /** Most that light may differ, as a factor. Default 1.5. */
  readonly mostGain?: number;
}

/**
 * Changes `fill` in place so that it meets `around` at the border of the hole.
 * @param around the picture, display-coded @param fill of the same size @param hidden > 0 where the hole is
 * @param trusted > 0 where fill and picture show the same thing
 */
export function matchSeam(around: Picture, fill: Picture, hidden: Float32Array, trusted: Float32Array, options: SeamOptions): void {
  const { width: w, height: h } = around;
  const n = w * h;
  const near = distanceToSet(hidden, w, h);
  const weight = new Float32Array(n);
  let total = 0;
  for (let i = 0; i < n; i++) if (hidden[i]! <= 0 && trusted[i]! > 0.5 && near[i]! <= options.bandPx) { weight[i] = 1; total++; }
  if (total < 50) return;
  const most = options.mostGain ?? 1.5;
  const away = new Float32Array(n);
  const differences: Float32Array[] = [];
  for (let c = 0; c < 3; c++) {
    const a = plane(around, c), f = plane(fill, c);
    const ratios: number[] = [];
    for (let i = 0; i < n; i++) if (weight[i]! > 0 && f[i]! > 0.08 && f[i]! < 0.94) ratios.push(a[i]! / f[i]!);
    const gain = ratios.length < 50 ? 1 : Math.min(most, Math.max(1 / most, median(ratios)));
    const d = new Float32Array(n);
    for (let i = 0; i < n; i++) { f[i] = f[i]! * gain; d[i] = a[i]! - f[i]!; away[i] = Math.max(away[i]!, Math.abs(d[i]!)); }
    differences.push(d);
  }
  const list: number[] = [];
  for (let i = 0; i < n; i++) if (weight[i]! > 0) list.push(away[i]!);
  const bound = Math.max(0.02, 3 * median(list));
  // Light weights: only some tens of pixels together outweigh what lies further out.
  for (let i = 0; i < n; i++) weight[i] = weight[i]! > 0 && away[i]! < bound ? 0.03 * Math.exp(-near[i]! / 12) : 0;
  const membrane = pushPull(differences, weight, w, h);
  for (let c = 0; c < 3; c++) {
    const f = plane(fill, c), m = membrane[c]!;
    for (let i = 0; i < n; i++) f[i] = f[i]! + m[i]!;
  }
}
