/**
 * The rest of a shadow that moves with what is erased. Where some frames show its ground lit and others dark, the still
 * picture has the lit samples and knows the dark ones (erase-mosaic.ts): a shadow is there for certain, and by how much
 * it darkens. What adjoins it, is as dark as its dark samples and has no lit one is the part that no frame shows lit,
 * and is relit like the rest.
 */
import { decodePlane, transferTable } from '../../colour/transfer-plane.js';
import { connectedComponents } from '../../image/components.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { dilate, open } from '../../image/morphology.js';
import { pushPull } from '../../image/push-pull.js';
import { median } from '../../image/statistics.js';
import { codedLuma } from './coded-luma.js';
import type { Mosaic } from './erase-mosaic.js';
import { percents, relightPlace, type FoundCast } from './relight-place.js';

/** So many pixels must show the shadow come or go. */
const LEAST_SEEN = 150;
/** A rest is no smaller, and no larger than so many times what was seen come or go. */
const LEAST_PX = 80;
const MOST = 4;
/** It meets what was seen over so many pixels of its border, as a share of the root of its area. */
const MEETS = 0.3;
/** It lies as dark as the dark samples beside it, give or take this share of the step to the lit ones. */
const AS_DARK = 0.35;
/** Its light, once relit, is the moving part's within this factor. */
const LIKE = 1.4;

/**
 * Relights, in place, what no frame shows lit of a shadow that is seen to move. Null, and nothing changed, where there
 * is none.
 */
export function relightRest(mosaic: Mosaic): FoundCast | null {
  const { width: w, height: h, shaded, count } = mosaic,
    n = w * h;
  if (shaded === undefined) return null;
  const seen = open(
    Float32Array.from(shaded, (v) => (v > 0 ? 1 : 0)),
    w,
    h,
    1,
  );
  let area = 0;
  for (let i = 0; i < n; i++) area += seen[i]!;
  if (area < LEAST_SEEN) return null;
  const luma = codedLuma(mosaic.picture),
    lit = new Float32Array(n),
    dark = new Float32Array(n),
    known = new Float32Array(n),
    flat = new Float32Array(n);
  for (let i = 0; i < n; i++) {
    known[i] = count[i]! > 0 ? 1 : 0;
    flat[i] = known[i]! * luma[i]!;
    if (seen[i]! > 0) {
      lit[i] = luma[i]!;
      dark[i] = shaded[i]!;
    }
  }
  const [l, d] = pushPull([lit, dark], seen, w, h) as [Float32Array, Float32Array],
    sum = gaussianPlane(flat, w, h, 1.5),
    share = gaussianPlane(known, w, h, 1.5);
  const mark = new Uint8Array(n);
  for (let i = 0; i < n; i++) {
    if (known[i] === 0 || seen[i]! > 0) continue;
    const v = sum[i]! / Math.max(1e-3, share[i]!),
      step = l[i]! - d[i]!;
    if (step > 0.03 && Math.abs(v - d[i]!) < AS_DARK * step) mark[i] = 1;
  }
  const { labels, components } = connectedComponents(mark, w, h, 8),
    rim = dilate(seen, w, h, 3),
    meets = new Map<number, number>();
  for (let i = 0; i < n; i++) if (mark[i] !== 0 && rim[i]! > 0) meets.set(labels[i]!, (meets.get(labels[i]!) ?? 0) + 1);
  const parts = new Set(
    components
      .filter(
        (c) =>
          c.area >= LEAST_PX && c.area <= MOST * area && (meets.get(c.label) ?? 0) >= 3 * MEETS * Math.sqrt(c.area),
      )
      .map((c) => c.label),
  );
  if (parts.size === 0) return null;
  const place = dilate(
    Float32Array.from(mark, (v, i) => (v !== 0 && parts.has(labels[i]!) ? 1 : 0)),
    w,
    h,
    3,
  );
  const table = transferTable('bt709'),
    ll = decodePlane(l, table),
    dl = decodePlane(d, table),
    ratios: number[] = [];
  for (let i = 0; i < n; i += 3) if (seen[i]! > 0 && ll[i]! > 1e-4) ratios.push(dl[i]! / ll[i]!);
  const moving = median(ratios);
  const found = relightPlace(
    mosaic,
    place,
    () => true,
    ([r, g, b]) => {
      const k = (0.2126 * r + 0.7152 * g + 0.0722 * b) / moving;
      return k < LIKE && k > 1 / LIKE;
    },
  );
  return found === null
    ? null
    : {
        mask: found.mask,
        note:
          'of a shadow that moves, what no frame shows lit was relit: ' +
          `it let through ${percents(found.ratio)} of red, green, blue`,
      };
}
