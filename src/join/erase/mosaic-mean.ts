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
import { medianAway, medianInPlace, withoutShadow } from './mosaic-samples.js';
import { laySource, validity, type Placed } from './mosaic-source.js';

/** Floats held at once by a strip. */
const STRIP_FLOATS = 24e6;
/** Samples within this of the median (coded) always agree: half of an 8-bit film's grain. */
const LEAST_SPREAD = 0.012;
/** Samples farther than so many robust sd from the median are something else. Own choice. */
const MOST_SD = 2.2;
/** A normal distribution's sd over its median absolute deviation. */
const SD_OF_MAD = 1.4826;
/** A source counts where its filter reads the set alone. */
const SEEN = 0.99;
/** Fewer samples than this can't be parted into lit and shadowed ones. */
const LEAST_FOR_SHADOW = 4;

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

/** Where the shadow of what hides the set lies in each source, over the mosaic made smaller by `scale`. */
export interface FoundShadows {
  readonly masks: readonly Uint8Array[];
  readonly width: number;
  readonly height: number;
  readonly scale: number;
}

export interface MeanOptions {
  /** What hides the set may also darken it nearby. */
  readonly shadows: boolean;
  /** A small picture to bring sources together on: laid bilinearly by footprint. */
  readonly coarse: boolean;
  readonly found: FoundShadows | null;
}

/** A source laid over a part of the mosaic. */
interface Laid {
  readonly x0: number;
  readonly x1: number;
  readonly y0: number;
  readonly y1: number;
  /** Pixels of the part. */
  readonly n: number;
  readonly data: Float32Array;
  readonly luma: Float32Array;
  readonly seen: Float32Array;
  readonly shadow: Uint8Array | null;
}

/** The samples of one pixel, in arrays that serve all pixels; `k` of them count. */
interface Samples {
  k: number;
  /** Luma of each sample; `order` is sorted or parted in place. */
  readonly value: Float64Array;
  readonly order: Float64Array;
  readonly away: Float64Array;
  /** How far off that is which hides the set, in shadow's reaches. */
  readonly far: Float64Array;
  /** Which laid source, and which of its pixels. */
  readonly index: Int32Array;
  readonly place: Int32Array;
  /** Samples left out since they lie in a found shadow, and the sum of their luma. */
  shadowed: number;
  dark: number;
  /** Some source shows the pixel in a found shadow. */
  passes: boolean;
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
  }
  return { picture, count, spread, ...(shaded === null ? {} : { shaded }) };
}

function samplesOf(most: number): Samples {
  return {
    k: 0,
    value: new Float64Array(most),
    order: new Float64Array(most),
    away: new Float64Array(most),
    far: new Float64Array(most),
    index: new Int32Array(most),
    place: new Int32Array(most),
    shadowed: 0,
    dark: 0,
    passes: false,
  };
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

/** A mosaic pixel's index in the smaller pictures of the found shadows. */
export function smallIndex(found: FoundShadows, x: number, y: number): number {
  return (
    Math.min(found.height - 1, Math.floor((y + 0.5) * found.scale)) * found.width +
    Math.min(found.width - 1, Math.floor((x + 0.5) * found.scale))
  );
}

/**
 * Takes the samples of a pixel. Ground that only the shadow shows is taken as it is, and so is ground that the mask of
 * the shadow shows no darker than the rest: there the mask, which is coarse, misses the shadow or covers more than it.
 */
function gather(s: Samples, laid: readonly Laid[], x: number, y: number, small: number): void {
  s.passes = false;
  for (let pass = 0; pass < 2; pass++) {
    s.k = s.shadowed = s.dark = 0;
    let lit = 0;
    for (let j = 0; j < laid.length; j++) {
      const l = laid[j]!;
      if (x < l.x0 || x >= l.x1 || y < l.y0 || y >= l.y1) continue;
      const i = (y - l.y0) * (l.x1 - l.x0) + x - l.x0;
      if (!(l.seen[i]! > SEEN)) continue;
      if (pass === 0 && l.shadow !== null && l.shadow[small] !== 0) {
        s.shadowed++;
        s.dark += l.luma[i]!;
        continue;
      }
      s.index[s.k] = j;
      s.place[s.k] = i;
      s.order[s.k] = s.value[s.k] = l.luma[i]!;
      s.far[s.k] = l.seen[i]! - 1;
      lit += l.luma[i]!;
      s.k++;
    }
    if (s.shadowed > 0) s.passes = true;
    if (s.shadowed === 0 || (s.k > 0 && lit * s.shadowed > s.dark * s.k)) return;
  }
}

/**
 * Leaves samples that lie in a shadow which comes or goes; their mean luma, or null where there are none. Where the
 * shadow is known to pass, what is left is parted again: its soft edge lies between dark and lit.
 */
function leaveShadow(s: Samples): number | null {
  const all = s.k;
  let dark = 0;
  for (let round = 0; round < (s.passes ? 2 : 1) && s.k >= LEAST_FOR_SHADOW - round; round++) {
    const had = sumOf(s.value, s.k),
      kept = withoutShadow(s.order, s.value, s.far, s.index, s.place, s.k, s.passes);
    if (kept >= s.k) break;
    dark += had - sumOf(s.value, kept);
    s.k = kept;
    for (let q = 0; q < kept; q++) s.order[q] = s.value[q]!;
    medianInPlace(s.order, kept);
  }
  return s.k < all ? dark / (all - s.k) : null;
}

/** Mean colour of the samples within a distance of the median, into `out`; how many they are. */
function meanNear(s: Samples, laid: readonly Laid[], middle: number, within: number, out: Float64Array): number {
  let r = 0,
    g = 0,
    b = 0,
    used = 0;
  for (let q = 0; q < s.k; q++) {
    if (Math.abs(s.value[q]! - middle) > within) continue;
    const l = laid[s.index[q]!]!,
      i = s.place[q]!;
    r += l.data[i]!;
    g += l.data[l.n + i]!;
    b += l.data[2 * l.n + i]!;
    used++;
  }
  // Two that disagree lie both beside their mean; the first then stands for the pixel.
  if (used === 0) {
    const l = laid[s.index[0]!]!,
      i = s.place[0]!;
    used = 1;
    r = l.data[i]!;
    g = l.data[l.n + i]!;
    b = l.data[2 * l.n + i]!;
  }
  out[0] = r / used;
  out[1] = g / used;
  out[2] = b / used;
  return used;
}

function sumOf(a: Float64Array, k: number): number {
  let sum = 0;
  for (let q = 0; q < k; q++) sum += a[q]!;
  return sum;
}
