/** How much brighter one picture of a set is than another of it. */
import { plane, type Picture } from '../../image/picture.js';
import { median } from '../../image/statistics.js';

/**
 * Ratio of the light of `laid` to that of the mosaic, per channel: median over what both show, neither black nor
 * clipped.
 */
export function gainOf(mosaic: Picture, laid: Picture, weight: Float32Array): [number, number, number] {
  const out: [number, number, number] = [1, 1, 1];
  for (let c = 0; c < 3; c++) {
    const a = plane(mosaic, c),
      b = plane(laid, c);
    const ratios: number[] = [];
    for (let i = 0; i < weight.length; i += 3)
      if (weight[i]! > 0.5 && a[i]! > 0.12 && a[i]! < 0.92) ratios.push(b[i]! / a[i]!);
    if (ratios.length < 200) continue;
    const g = median(ratios);
    if (g > 0.5 && g < 2) out[c] = g;
  }
  return out;
}
