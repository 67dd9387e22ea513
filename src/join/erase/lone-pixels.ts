/** Single pixels of the still picture whose samples were parted otherwise than those of all about them. */
import type { Picture } from '../../image/picture.js';
import { codedLuma } from './coded-luma.js';
import { cropPicture } from './erase-seam.js';
import {
  LEAST_SPREAD,
  gather,
  meanNear,
  smallIndex,
  type FoundShadows,
  type Laid,
  type Samples,
} from './pixel-samples.js';

/** A pixel stands out that is darker or brighter than all eight about it by more than this (coded). Own choice. */
const STANDS_OUT = 0.05;

/**
 * Lit and shadowed samples are told apart pixel by pixel, so that now and then a single one is decided otherwise than
 * all about it. Where a pixel stands out from its eight neighbours, but some of its samples do not, these are taken. A
 * detail of one pixel stands out in all of its samples and stays. Rows at a strip's borders are left as they are.
 */
export function settleLone(
  picture: Picture,
  count: Float32Array,
  samples: Samples,
  laid: readonly Laid[],
  y0: number,
  h: number,
  found: FoundShadows | null,
): void {
  const { width: w, height } = picture,
    N = w * height,
    mean = new Float64Array(3),
    luma = codedLuma(cropPicture(picture, [0, y0, w, y0 + h]));
  for (let y = 1; y < h - 1; y++)
    for (let x = 1; x < w - 1; x++) {
      const i = y * w + x,
        o = i + y0 * w;
      if (!(count[o]! > 0)) continue;
      let low = Infinity,
        high = -Infinity;
      for (let v = i - w; v <= i + w; v += w)
        for (let u = v - 1; u <= v + 1; u++) {
          if (u === i) continue;
          low = Math.min(low, luma[u]!);
          high = Math.max(high, luma[u]!);
        }
      if (luma[i]! >= low - STANDS_OUT && luma[i]! <= high + STANDS_OUT) continue;
      gather(samples, laid, x, y + y0, found === null ? 0 : smallIndex(found, x, y + y0));
      const middle = (low + high) / 2,
        within = (high - low) / 2 + LEAST_SPREAD;
      if (!samples.value.subarray(0, samples.k).some((v) => Math.abs(v - middle) <= within)) continue;
      count[o] = meanNear(samples, laid, middle, within, mean);
      for (let c = 0; c < 3; c++) picture.data[c * N + o] = mean[c]!;
    }
}
