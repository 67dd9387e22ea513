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
  const table = transferTable('bt709'),
    linear = [0, 1, 2].map((c) => decodePlane(plane(picture, c), table)),
    seen = groundSeen(picture, linear, dark, known);
  if (seen.area < LEAST_AREA) return null;
  const { mask, outweighed } = shadowMask(seen);
  if (expected !== undefined && (outweighed || !expected(mask))) return null;
  const best = bestPenumbra(seen, mask, linear);
  if (best === null || lumaOf(best.ratio) > LIGHTEST) return null;
  for (let c = 0; c < 3; c++) {
    const k = 1 - best.ratio[c]!,
      lit = linear[c]!.map((v, i) => v / (1 - k * best.cover[i]!));
    encodePlane(lit, table, lit);
    const to = plane(picture, c);
    for (let i = 0; i < to.length; i++) if (seen.inside[i]! > 0) to[i] = lit[i]!;
  }
  return { ratio: best.ratio, penumbraPx: best.penumbraPx };
}

/** Smaller shadows are left, px². */
const LEAST_AREA = 60;

const lumaOf = ([r, g, b]: Relit['ratio']): number => 0.2126 * r + 0.7152 * g + 0.0722 * b;

/** The ground as it is seen: where it is known, where it is said to be in shadow, and its smoothed log luminance. */
interface GroundSeen {
  readonly w: number;
  readonly h: number;
  readonly ground: Float32Array;
  readonly inside: Float32Array;
  readonly area: number;
  readonly smooth: Float32Array;
}

function groundSeen(
  { width: w, height: h }: Picture,
  linear: readonly Float32Array[],
  dark: ArrayLike<number>,
  known: ArrayLike<number>,
): GroundSeen {
  const n = w * h,
    luma = new Float32Array(n),
    inside = new Float32Array(n),
    ground = new Float32Array(n);
  let area = 0;
  for (let i = 0; i < n; i++) {
    luma[i] = Math.log(Math.max(1e-4, lumaOf([linear[0]![i]!, linear[1]![i]!, linear[2]![i]!])));
    ground[i] = known[i]! > 0 ? 1 : 0;
    if (dark[i]! > 0 && known[i]! > 0) {
      inside[i] = 1;
      area++;
    }
  }
  return { w, h, ground, inside, area, smooth: area < LEAST_AREA ? luma : within(luma, ground, w, h, 2) };
}

/**
 * The shadow within the region, parted from the lit ground about it by its level. Where the ground's texture outweighs
 * the shadow, the outline is the shadow.
 */
function shadowMask({ w, h, ground, inside, area, smooth }: GroundSeen): {
  readonly mask: Float32Array;
  readonly outweighed: boolean;
} {
  const n = w * h,
    toInside = distanceToSet(inside, w, h),
    ring = Math.max(8, 0.25 * Math.sqrt(area)),
    values: number[] = [];
  for (let i = 0; i < n; i++) if (ground[i]! > 0 && (inside[i]! > 0 || toInside[i]! <= ring)) values.push(smooth[i]!);
  const split = otsu(values).threshold,
    mask = new Float32Array(n);
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
  const outweighed = darkArea < 0.15 * area || litRing < 0.7 * ringArea;
  return { mask: outweighed ? inside.slice() : mask, outweighed };
}

/** The penumbra whose taking away leaves the least step over the border, and its cover; null where none has a ratio. */
function bestPenumbra(
  { w, h, ground, smooth }: GroundSeen,
  mask: Float32Array,
  linear: readonly Float32Array[],
): (Relit & { readonly cover: Float32Array }) | null {
  const logs = linear.map((p) => p.map((v) => Math.log(Math.max(1e-4, v)))),
    away = distanceToSet(mask, w, h),
    depth = distanceToSet(
      mask.map((v) => 1 - v),
      w,
      h,
    );
  let best: (Relit & { readonly cover: Float32Array }) | null = null,
    least = Infinity;
  for (const sigma of PENUMBRAE) {
    const ratio = ratioAlong(logs, ground, away, depth, w, h, 1.8 * sigma);
    if (ratio === null) continue;
    const cover = gaussianPlane(mask, w, h, sigma),
      key = lumaOf(ratio),
      corrected = smooth.map((v, i) => v - Math.log(1 - (1 - key) * cover[i]!)),
      rough = stepLeft(corrected, ground, away, depth, w, h);
    if (rough < least) {
      least = rough;
      best = { ratio, penumbraPx: sigma, cover };
    }
  }
  return best;
}

/** The step that is left over the border, at every width tried over the same pixels. */
function stepLeft(
  corrected: Float32Array,
  ground: Float32Array,
  away: ArrayLike<number>,
  depth: ArrayLike<number>,
  w: number,
  h: number,
): number {
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
  return rough;
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
