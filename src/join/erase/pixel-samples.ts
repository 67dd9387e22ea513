/**
 * What the sources of the still picture show of one of its pixels: the samples, without those in a found shadow, parted
 * into lit and shadowed ones, and their mean.
 */
import { medianInPlace, withoutShadow } from './mosaic-samples.js';

/** Samples within this of the median (coded) always agree: half of an 8-bit film's grain. */
export const LEAST_SPREAD = 0.012;
/** A source counts where its filter reads the set alone. */
const SEEN = 0.99;
/** Fewer samples than this can't be parted into lit and shadowed ones. */
export const LEAST_FOR_SHADOW = 4;

/** Where the shadow of what hides the set lies in each source, over the mosaic made smaller by `scale`. */
export interface FoundShadows {
  readonly masks: readonly Uint8Array[];
  readonly width: number;
  readonly height: number;
  readonly scale: number;
}

/** A source laid over a part of the mosaic. */
export interface Laid {
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
export interface Samples {
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

/** Room for the samples of one pixel, `most` at most. */
export function samplesOf(most: number): Samples {
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
export function gather(s: Samples, laid: readonly Laid[], x: number, y: number, small: number): void {
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
export function leaveShadow(s: Samples): number | null {
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
export function meanNear(s: Samples, laid: readonly Laid[], middle: number, within: number, out: Float64Array): number {
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
