/**
 * A shadow in the still picture of a set, relit where it lies (erase-relight.ts); along its border, where the
 * penumbra's own shape is not known, the picture counts as never seen and is made up.
 */
import { maskBox, withRoom } from '../../image/mask-box.js';
import { distanceToSet } from '../../image/distance.js';
import { dilate } from '../../image/morphology.js';
import { plane } from '../../image/picture.js';
import type { Mosaic } from './erase-mosaic.js';
import { relightShadow, type Relit } from './erase-relight.js';
import { cropPicture, cropPlane } from './erase-seam.js';
import type { PartBox } from '../render/frame-part.js';

/** The border made up takes no more than such a share of the shadow's depth. */
const BORDER = 0.35;

export interface FoundCast {
  /** 1 where the still picture's ground was relit, with its penumbra; one value a pixel of it. */
  readonly mask: Float32Array;
  readonly note: string;
}

/** Shares in words. */
export const percents = (ratio: readonly number[]): string => `${ratio.map((v) => (100 * v).toFixed(0)).join(', ')} %`;

/**
 * Relights what is dark in a place of the still picture, in place, if `expected` says so of the mask found (over
 * `box`). Null, and nothing changed, where not.
 */
export function relightPlace(
  mosaic: Mosaic,
  place: Float32Array,
  expected: (mask: Float32Array, box: PartBox) => boolean,
  fits: (ratio: Relit['ratio']) => boolean = () => true,
): { readonly mask: Float32Array; readonly ratio: Relit['ratio'] } | null {
  const { width: w, height: h } = mosaic;
  const n = w * h;
  const darkBox = maskBox(place, w, h);
  if (darkBox === null) return null;
  const box = withRoom(
    darkBox,
    40 + Math.ceil(0.25 * Math.max(darkBox[2] - darkBox[0], darkBox[3] - darkBox[1])),
    w,
    h,
  );
  const part = cropPicture(mosaic.picture, box);
  let dark: Float32Array | null = null;
  const found = relightShadow(part, cropPlane(place, w, box), cropPlane(mosaic.count, w, box), (mask) => {
    dark = mask;
    return expected(mask, box);
  });
  if (found === null || dark === null || !fits(found.ratio)) return null;
  const pw = part.width,
    ph = part.height,
    depth = distanceToSet(outsideOf(dark), pw, ph);
  let deepest = 0;
  for (let i = 0; i < depth.length; i++) if (Number.isFinite(depth[i]!)) deepest = Math.max(deepest, depth[i]!);
  const soft = Math.max(1, Math.min(Math.ceil(1 + 1.5 * found.penumbraPx), Math.floor(BORDER * deepest)));
  const grown = dilate(dark, pw, ph, soft),
    beyond = dilate(outsideOf(dark), pw, ph, soft),
    mask = new Float32Array(n);
  for (let y = box[1]; y < box[3]; y++)
    for (let x = box[0]; x < box[2]; x++) {
      const i = y * w + x,
        j = (y - box[1]) * pw + x - box[0];
      if (!(grown[j]! > 0) || !(mosaic.count[i]! > 0)) continue;
      mask[i] = 1;
      if (beyond[j]! > 0) mosaic.count[i] = 0;
      for (let c = 0; c < 3; c++) mosaic.picture.data[c * n + i] = plane(part, c)[j]!;
    }
  return { mask, ratio: found.ratio };
}

function outsideOf(mask: Float32Array): Float32Array {
  return mask.map((v) => 1 - v);
}
