/**
 * The mean of all sources laid over one another, pixel by pixel: of the samples that agree with their median, without
 * those that a shadow of what is erased darkens. Worked in strips, so that memory does not grow with the picture's
 * height.
 */
import { boundsOf } from '../../geometry/bounds.js';
import { multiply } from '../../geometry/mat3.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { codedLuma } from './coded-luma.js';
import type { Shift } from './lay-over.js';
import { shineOn } from './light-plane.js';
import { settleLone } from './lone-pixels.js';
import { medianAway, medianInPlace } from './mosaic-samples.js';
import { laySource, validity, type Placed } from './mosaic-source.js';
import {
  LEAST_FOR_SHADOW,
  LEAST_SPREAD,
  gather,
  leaveShadow,
  meanNear,
  samplesOf,
  smallIndex,
  type FoundShadows,
  type Laid,
} from './pixel-samples.js';

/** Floats held at once by a strip. */
const STRIP_FLOATS = 24e6;
/** Samples farther than so many robust sd from the median are something else. Own choice. */
const MOST_SD = 2.2;
/** A normal distribution's sd over its median absolute deviation. */
const SD_OF_MAD = 1.4826;

export interface SetMean {
  readonly picture: Picture;
  /** How many sources agree on each pixel; 0 = never seen. */
  readonly count: Float32Array;
  /** Robust sd of the samples of each pixel (luma), 0 where fewer than three. */
  readonly spread: Float32Array;
  /**
   * Mean of the dark samples (coded luma) where a shadow was seen to come or go, 0 elsewhere; absent where none was
   * looked for.
   */
  readonly shaded?: Float32Array;
}

export interface MeanOptions {
  /** What hides the set may also darken it nearby. */
  readonly shadows: boolean;
  /** A small picture to bring sources together on: laid bilinearly by footprint. */
  readonly coarse: boolean;
  readonly found: FoundShadows | null;
}

/** Values of the set, display-coded R'G'B' of width × height pixels. */
export function meanOfSources(placed: readonly Placed[], width: number, height: number, options: MeanOptions): SetMean {
  const picture = createPicture(width, height, 3),
    N = width * height,
    count = new Float32Array(N),
    spread = new Float32Array(N),
    shaded = options.shadows ? new Float32Array(N) : null;
  const K = placed.length,
    rows = Math.max(8, Math.min(height, Math.floor(STRIP_FLOATS / Math.max(1, K * width * 4)))),
    samples = samplesOf(K),
    mean = new Float64Array(3);
  for (let y0 = 0; y0 < height; y0 += rows) {
    const h = Math.min(rows, height - y0),
      laid = laidOver(placed, width, y0, h, options);
    for (let y = y0; y < y0 + h; y++)
      for (let x = 0; x < width; x++) {
        gather(samples, laid, x, y, options.found === null ? 0 : smallIndex(options.found, x, y));
        if (samples.k === 0) continue;
        const o = y * width + x;
        if (shaded !== null && samples.shadowed > 0 && samples.dark > 0) shaded[o] = samples.dark / samples.shadowed;
        let middle = medianInPlace(samples.order, samples.k);
        if (options.shadows && samples.k >= LEAST_FOR_SHADOW) {
          const dark = leaveShadow(samples);
          if (dark !== null) {
            shaded![o] = dark;
            middle = medianInPlace(samples.order, samples.k);
          }
        }
        const sd = SD_OF_MAD * medianAway(samples.order, middle, samples.k, samples.away);
        count[o] = meanNear(samples, laid, middle, Math.max(LEAST_SPREAD, MOST_SD * sd), mean);
        spread[o] = samples.k >= 3 ? sd : 0;
        for (let c = 0; c < 3; c++) picture.data[c * N + o] = mean[c]!;
      }
    if (options.shadows && !options.coarse) settleLone(picture, count, samples, laid, y0, h, options.found);
  }
  return { picture, count, spread, ...(shaded === null ? {} : { shaded }) };
}

/** The sources that reach into the strip of `h` rows from `y0`, laid over the part of it that they reach. */
function laidOver(placed: readonly Placed[], width: number, y0: number, h: number, options: MeanOptions): Laid[] {
  const laid: Laid[] = [];
  for (const [j, p] of placed.entries()) {
    const { widthPx, heightPx } = p.source,
      b = boundsOf(
        [
          [0, 0],
          [widthPx, 0],
          [widthPx, heightPx],
          [0, heightPx],
        ],
        p.matrix,
      );
    const x0 = Math.max(0, Math.floor(b[0])),
      x1 = Math.min(width, Math.ceil(b[2])),
      top = Math.max(y0, Math.floor(b[1])),
      bottom = Math.min(y0 + h, Math.ceil(b[3]));
    if (!(x1 > x0 && bottom > top)) continue;
    const matrix = multiply([1, 0, -x0, 0, 1, -top, 0, 0, 1], p.matrix),
      shift: Shift | null = p.field === null ? null : { field: p.field, scale: p.fieldScale, x0, y0: top },
      filter = options.coarse ? 'bilinear' : 'lanczos3',
      rgb = laySource(p.source, matrix, x1 - x0, bottom - top, filter, shift, options.coarse);
    if (p.light !== null) shineOn(rgb, p.light, -1, p.fieldScale, x0, top);
    laid.push({
      x0,
      x1,
      y0: top,
      y1: bottom,
      n: (x1 - x0) * (bottom - top),
      data: rgb.data,
      luma: codedLuma(rgb),
      seen: validity(p.source, matrix, x1 - x0, bottom - top, shift),
      shadow: options.found?.masks[j] ?? null,
    });
  }
  return laid;
}
