/**
 * The shadow of what is erased in every source frame of the still picture, found as a whole rather than pixel by pixel:
 * on a coarse picture each source is held against the light that the brighter samples of the same ground show,
 * smoothed; what is darker by about one factor in all channels, hangs together and touches what hides the set is its
 * shadow there (brightness and chromaticity distortion: T. Horprasert, D. Harwood, L. S. Davis, ICCV FRAME-RATE 1999).
 * Lasting shade of the set is dark on every frame, so no sample is brighter and nothing of it is found.
 */
import { connectedComponents } from '../../image/components.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { dilate, open } from '../../image/morphology.js';
import { plane, type Picture } from '../../image/picture.js';
import { median } from '../../image/statistics.js';

/** One source laid over the coarse picture. */
export interface LaidCoarse {
  readonly rgb: Picture;
  /** As of `validity`: under 1 where the set is hidden, 1 beside what hides it, 2 a shadow's reach away. */
  readonly seen: Float32Array;
}

/** A shadow lets through at most this share of the coded value, smoothed, and at least that. */
const DARKER = 0.9;
const DARKEST = 0.2;
/** Channels' ratios may differ by this factor, coded (erase-shadow.ts). */
const TINT = 1.8;
/**
 * Gap to what hides the set that is bridged, in shadow's reaches; farther than so many reaches nothing is its shadow.
 */
const TOUCHES = 0.28;
const REACHES = 2.4;
/** Samples that tell how bright the ground is when lit. */
const LEAST_SAMPLES = 4;
const SMOOTH_PX = 1.2;
const LEAST_AREA = 24;
const ROUNDS = 2;

/** Masks (1 in the shadow) over the coarse picture, one a source; null where these are too few to tell. */
export function sourceShadows(laid: readonly LaidCoarse[], width: number, height: number): Uint8Array[] | null {
  const n = width * height,
    K = laid.length,
    out = laid.map(() => new Uint8Array(n));
  if (K < LEAST_SAMPLES) return null;
  const soft = laid.map(({ rgb, seen }) => {
    const known = Float32Array.from(seen, (v) => (v > 0.99 ? 1 : 0)),
      share = gaussianPlane(known, width, height, SMOOTH_PX);
    return [0, 1, 2].map((c) => {
      const p = gaussianPlane(
        plane(rgb, c).map((v, i) => v * known[i]!),
        width,
        height,
        SMOOTH_PX,
      );
      for (let i = 0; i < n; i++) p[i] = known[i]! > 0 ? p[i]! / share[i]! : 0;
      return p;
    }) as [Float32Array, Float32Array, Float32Array];
  });
  const lit = [0, 1, 2].map(() => new Float32Array(n)) as [Float32Array, Float32Array, Float32Array],
    order = new Int32Array(K),
    luma = new Float64Array(K);
  for (let round = 0; round < ROUNDS; round++) {
    for (let i = 0; i < n; i++) {
      let k = 0;
      for (let j = 0; j < K; j++) {
        if (!(laid[j]!.seen[i]! > 0.99) || out[j]![i] !== 0) continue;
        const s = soft[j]!,
          v = 0.2126 * s[0][i]! + 0.7152 * s[1][i]! + 0.0722 * s[2][i]!;
        let q = k++;
        while (q > 0 && luma[q - 1]! < v) {
          luma[q] = luma[q - 1]!;
          order[q] = order[q - 1]!;
          q--;
        }
        luma[q] = v;
        order[q] = j;
      }
      // First the second brightest sample, so that one alone proves nothing; then the middle of those that no shadow
      // lies on.
      const at = round === 0 ? (k < LEAST_SAMPLES ? -1 : 1) : k === 0 ? -1 : k >> 1;
      for (let c = 0; c < 3; c++) lit[c]![i] = at < 0 ? 0 : soft[order[at]!]![c]![i]!;
    }
    laid.forEach(({ seen }, j) => shadowIn(soft[j]!, lit, seen, width, height, out[j]!));
  }
  return out;
}

function shadowIn(
  soft: readonly Float32Array[],
  lit: readonly Float32Array[],
  seen: Float32Array,
  w: number,
  h: number,
  out: Uint8Array,
): void {
  const n = w * h,
    mark = new Float32Array(n),
    ratios: number[] = [];
  // A camera that exposes by itself makes all of a source darker.
  for (let i = 0; i < n; i += 7) if (seen[i]! > 0.99 && lit[1]![i]! > 0.04) ratios.push(soft[1]![i]! / lit[1]![i]!);
  if (ratios.length < 50) return;
  const gain = median(ratios);
  for (let i = 0; i < n; i++) {
    if (!(seen[i]! > 0.99) || seen[i]! > REACHES || !(lit[1]![i]! > 0.04)) continue;
    let least = Infinity,
      most = 0;
    for (let c = 0; c < 3; c++) {
      const r = soft[c]![i]! / Math.max(0.02, gain * lit[c]![i]!);
      least = Math.min(least, r);
      most = Math.max(most, r);
    }
    const bluer = soft[0]![i]! / Math.max(0.02, lit[0]![i]!) <= soft[2]![i]! / Math.max(0.02, lit[2]![i]!) + 0.05;
    if (most < DARKER + (bluer ? 0.04 : 0) && least > DARKEST && most < (bluer ? TINT : 1.4) * least) mark[i] = 1;
  }
  const even = open(
    gaussianPlane(mark, w, h, 1.5).map((v) => (v > 0.4 ? 1 : 0)),
    w,
    h,
    1,
  );
  const { labels, components } = connectedComponents(even, w, h, 8),
    touching = new Set<number>();
  for (let i = 0; i < n; i++) if (even[i]! > 0 && seen[i]! > 0.99 && seen[i]! < 1 + TOUCHES) touching.add(labels[i]!);
  for (const c of components) if (c.area < LEAST_AREA) touching.delete(c.label);
  const core = Float32Array.from(even, (v, i) => (v > 0 && touching.has(labels[i]!) ? 1 : 0)),
    wide = dilate(core, w, h, 2);
  for (let i = 0; i < n; i++) out[i] = wide[i]! > 0 ? 1 : 0;
}
