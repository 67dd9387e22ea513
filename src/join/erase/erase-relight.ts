/**
 * Relights ground that lies in a shadow on every frame: a cast shadow takes away one share of the light a channel (the
 * key's), fading over its penumbra, so that a gain in linear light gives the lit ground back (illumination ratio across
 * a shadow's border: G. Finlayson, S. Hordley, C. Lu, M. Drew, "On the removal of shadows from images", PAMI 28, 2006;
 * M. Baba, N. Asada, "Shadow removal from a real picture", SIGGRAPH Sketches, 2003).
 *
 * Inside the region told to be dark, darker and lighter ground are split (Otsu, IEEE SMC 9, 1979), since an outline is
 * drawn wider than the shadow. The ratio is had along the border, where ground on both sides is mostly the same; the
 * penumbra's width is the one that leaves the least step there. Planes height × width, display-coded R'G'B' of Rec.
 * 709.
 */
import { decodePlane, encodePlane, transferTable } from '../../colour/transfer-plane.js';
import { distanceToSet } from '../../image/distance.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { plane, type Picture } from '../../image/picture.js';
import { median } from '../../image/statistics.js';
import { otsu } from '../ground/plate-shadow.js';

export interface Relit {
  /** Share of the light that the shadow left, per channel. */
  readonly ratio: readonly [number, number, number];
  /** Sd of the Gaussian that stands for the penumbra, px. */
  readonly penumbraPx: number;
}

/** Penumbrae tried, sd in px. */
const PENUMBRAE = [0.7, 1.2, 2, 3, 4.5, 6.5, 9];
/** A ratio nearer to 1 than this is no shadow worth the name, one below is no ground. */
const LIGHTEST = 0.95,
  DARKEST = 0.08;

/**
 * In place. Null, and nothing changed, where the region is not darker than the ground about it.
 * @param dark over 0 where the picture shows ground in the shadow @param known over 0 where the picture shows ground at
 * all
 * @param expected whether what was found dark (1 in the mask) is the shadow that was looked for; without it the place
 * is taken at its word
 */
export function relightShadow(
  picture: Picture,
  dark: ArrayLike<number>,
  known: ArrayLike<number>,
  expected?: (mask: Float32Array) => boolean,
): Relit | null {
  const { width: w, height: h } = picture,
    n = w * h;
  const table = transferTable('bt709');
  const linear = [0, 1, 2].map((c) => decodePlane(plane(picture, c), table));
  const logs = linear.map((p) => p.map((v) => Math.log(Math.max(1e-4, v))));
  const luma = new Float32Array(n),
    inside = new Float32Array(n),
    ground = new Float32Array(n);
  let area = 0;
  for (let i = 0; i < n; i++) {
    luma[i] = Math.log(Math.max(1e-4, 0.2126 * linear[0]![i]! + 0.7152 * linear[1]![i]! + 0.0722 * linear[2]![i]!));
    ground[i] = known[i]! > 0 ? 1 : 0;
    if (dark[i]! > 0 && known[i]! > 0) {
      inside[i] = 1;
      area++;
    }
  }
  if (area < 60) return null;
  const smooth = within(luma, ground, w, h, 2);
  const toInside = distanceToSet(inside, w, h),
    ring = Math.max(8, 0.25 * Math.sqrt(area));
  const values: number[] = [];
  for (let i = 0; i < n; i++) if (ground[i]! > 0 && (inside[i]! > 0 || toInside[i]! <= ring)) values.push(smooth[i]!);
  const split = otsu(values).threshold;
  const mask = new Float32Array(n);
  for (let i = 0; i < n; i++) mask[i] = inside[i]! > 0 && smooth[i]! < split ? 1 : 0;
  // Specks of the ground's own texture are no shadow, nor light in it.
  const even = gaussianPlane(mask, w, h, 3);
  let darkArea = 0,
    litRing = 0,
    ringArea = 0;
  for (let i = 0; i < n; i++) {
    mask[i] = inside[i]! > 0 && even[i]! > 0.5 ? 1 : 0;
    darkArea += mask[i]!;
    if (inside[i]! === 0 && ground[i]! > 0 && toInside[i]! <= ring) {
      ringArea++;
      if (smooth[i]! >= split) litRing++;
    }
  }
  // Where the ground's texture outweighs the shadow, the outline is the shadow.
  const outweighed = darkArea < 0.15 * area || litRing < 0.7 * ringArea;
  if (expected !== undefined && (outweighed || !expected(mask))) return null;
  if (outweighed) mask.set(inside);
  const away = distanceToSet(mask, w, h),
    outside = new Float32Array(n);
  for (let i = 0; i < n; i++) outside[i] = 1 - mask[i]!;
  const depth = distanceToSet(outside, w, h);
  let best: Relit | null = null,
    least = Infinity,
    chosen: Float32Array | null = null;
  for (const sigma of PENUMBRAE) {
    const ratio = ratioAlong(logs, ground, away, depth, w, h, 1.8 * sigma);
    if (ratio === null) continue;
    const cover = gaussianPlane(mask, w, h, sigma);
    // The step that is left over the border, at every width tried over the same pixels.
    const key = 0.2126 * ratio[0] + 0.7152 * ratio[1] + 0.0722 * ratio[2];
    const corrected = smooth.map((v, i) => v - Math.log(1 - (1 - key) * cover[i]!));
    let rough = 0;
    for (let y = 1; y < h - 1; y++)
      for (let x = 1; x < w - 1; x++) {
        const i = y * w + x;
        if (
          ground[i]! === 0 ||
          ground[i + 1]! === 0 ||
          ground[i - 1]! === 0 ||
          ground[i + w]! === 0 ||
          ground[i - w]! === 0 ||
          Math.max(away[i]!, depth[i]!) > 14
        )
          continue;
        rough += (corrected[i + 1]! - corrected[i - 1]!) ** 2 + (corrected[i + w]! - corrected[i - w]!) ** 2;
      }
    if (rough < least) {
      least = rough;
      best = { ratio, penumbraPx: sigma };
      chosen = cover;
    }
  }
  if (
    best === null ||
    chosen === null ||
    0.2126 * best.ratio[0] + 0.7152 * best.ratio[1] + 0.0722 * best.ratio[2] > LIGHTEST
  )
    return null;
  for (let c = 0; c < 3; c++) {
    const p = linear[c]!,
      k = 1 - best.ratio[c]!,
      lit = p.map((v, i) => v / (1 - k * chosen[i]!));
    encodePlane(lit, table, lit);
    const to = plane(picture, c);
    for (let i = 0; i < n; i++) if (inside[i]! > 0) to[i] = lit[i]!;
  }
  return best;
}

/** Mean over the pixels that count alone, Gaussian. */
function within(p: Float32Array, weight: Float32Array, w: number, h: number, sigmaPx: number): Float32Array {
  const a = gaussianPlane(
      p.map((v, i) => v * weight[i]!),
      w,
      h,
      sigmaPx,
    ),
    b = gaussianPlane(weight, w, h, sigmaPx);
  return a.map((v, i) => (b[i]! > 1e-3 ? v / b[i]! : p[i]!));
}

/**
 * Median over the border of the local ratios of ground inside to ground outside, `gap` px from it on both sides; null
 * where there is no such ground.
 */
function ratioAlong(
  logs: readonly Float32Array[],
  ground: Float32Array,
  away: Float32Array,
  depth: Float32Array,
  w: number,
  h: number,
  gap: number,
): [number, number, number] | null {
  const n = w * h,
    band = 8 + gap;
  const a = new Float32Array(n),
    b = new Float32Array(n);
  for (let i = 0; i < n; i++) {
    if (ground[i]! === 0) continue;
    if (depth[i]! > gap && depth[i]! <= gap + band) a[i] = 1;
    if (away[i]! > gap && away[i]! <= gap + band) b[i] = 1;
  }
  const reach = 0.6 * (band + gap);
  const wa = gaussianPlane(a, w, h, reach),
    wb = gaussianPlane(b, w, h, reach);
  const out: [number, number, number] = [1, 1, 1];
  for (let c = 0; c < 3; c++) {
    const l = logs[c]!;
    const sa = gaussianPlane(
        l.map((v, i) => v * a[i]!),
        w,
        h,
        reach,
      ),
      sb = gaussianPlane(
        l.map((v, i) => v * b[i]!),
        w,
        h,
        reach,
      );
    const d: number[] = [];
    for (let i = 0; i < n; i++)
      if (away[i]! <= 1 && depth[i]! <= 1.5 && wa[i]! > 0.02 && wb[i]! > 0.02)
        d.push(sa[i]! / wa[i]! - sb[i]! / wb[i]!);
    if (d.length < 20) return null;
    out[c] = Math.min(1, Math.max(DARKEST, Math.exp(median(d))));
  }
  return out;
}
