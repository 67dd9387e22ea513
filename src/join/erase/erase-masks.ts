/** What frames hide of the set, as masks over their pixels. */
import { boundsOf } from '../../geometry/bounds.js';
import type { Mat3, Point2 } from '../../geometry/mat3.js';
import { distanceToSet } from '../../image/distance.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { dilate } from '../../image/morphology.js';
import { rasterizePolygon } from '../../image/polygon.js';
import { toCodedRgb } from '../../media/convert.js';
import type { VideoFrame } from '../../media/types.js';
import { withoutBorder, type MosaicSource } from './mosaic-source.js';
import { framePart, wholeSamples } from '../render/frame-part.js';

/** How far what is hidden may throw a shadow, in its own heights. */
const SHADOW_REACH = 0.7;
const QUARTER = 4;

/**
 * A held frame as a source of the mosaic. `shows`: height × width, as {@link showsMask} makes it; the frame's border is
 * taken away from it.
 */
export function mosaicSourceOf(held: VideoFrame, frame: number, toReference: Mat3, shows: Uint8Array): MosaicSource {
  return {
    frame,
    toReference,
    widthPx: held.widthPx,
    heightPx: held.heightPx,
    shows: withoutBorder(shows, held.widthPx, held.heightPx),
    part: (box) => {
      const whole = wholeSamples(held, box);
      return { picture: toCodedRgb(framePart(held, whole)), x0: whole[0], y0: whole[1] };
    },
  };
}

/** 1 where one of the outlines covers a pixel, grown. */
export function maskOf(outlines: readonly (readonly Point2[])[], w: number, h: number, growPx: number): Float32Array {
  const all = new Float32Array(w * h);
  for (const o of outlines) {
    const one = rasterizePolygon(o, w, h);
    for (let i = 0; i < all.length; i++) if (one[i]! > 0.02) all[i] = 1;
  }
  return growPx > 0 ? dilate(all, w, h, Math.ceil(growPx)) : all;
}

/** What a frame shows of the set for sure (see MosaicSource.shows). */
export function showsMask(outlines: readonly (readonly Point2[])[], w: number, h: number, growPx: number): Uint8Array {
  const out = new Uint8Array(w * h);
  if (outlines.length === 0) return out.fill(250);
  const hides = maskOf(outlines, w, h, growPx + 2);
  // How far off it is only shades what is believed: a quarter of the size tells enough.
  const qw = Math.ceil(w / QUARTER),
    qh = Math.ceil(h / QUARTER),
    small = new Uint8Array(qw * qh);
  for (let y = 0, i = 0; y < h; y++)
    for (let x = 0; x < w; x++, i++)
      if (hides[i]! > 0) small[Math.floor(y / QUARTER) * qw + Math.floor(x / QUARTER)] = 1;
  const away = distanceToSet(small, qw, qh);
  const b = boundsOf(outlines.flat());
  const reach = SHADOW_REACH * Math.max(20, b[2] - b[0], b[3] - b[1]);
  for (let y = 0, i = 0; y < h; y++)
    for (let x = 0; x < w; x++, i++) {
      out[i] =
        hides[i]! > 0
          ? 0
          : 100 +
            Math.round(
              100 * Math.min(1.5, (QUARTER * away[Math.floor(y / QUARTER) * qw + Math.floor(x / QUARTER)]!) / reach),
            );
    }
  return out;
}

/** Soft edge outside the hidden part: nothing of what was hidden shines through. */
export function feather(hidden: Float32Array, w: number, h: number): Float32Array {
  const soft = gaussianPlane(dilate(hidden, w, h, 2), w, h, 1);
  for (let i = 0; i < soft.length; i++) soft[i] = hidden[i]! > 0 ? 1 : soft[i]! < 0.02 ? 0 : soft[i]!;
  return soft;
}

/**
 * A box widened to whole chroma samples of the frame, w × h (`shift`: halvings across and down), px; null where less
 * than 8 px of a side is left.
 */
export function alignedBox(
  b: readonly [number, number, number, number],
  w: number,
  h: number,
  shift: readonly [number, number],
): [number, number, number, number] | null {
  const sx = 1 << shift[0],
    sy = 1 << shift[1];
  const out: [number, number, number, number] = [
    Math.max(0, Math.floor(b[0] / sx) * sx),
    Math.max(0, Math.floor(b[1] / sy) * sy),
    Math.min(w, Math.ceil(b[2] / sx) * sx),
    Math.min(h, Math.ceil(b[3] / sy) * sy),
  ];
  return out[2] - out[0] >= 8 && out[3] - out[1] >= 8 ? out : null;
}
