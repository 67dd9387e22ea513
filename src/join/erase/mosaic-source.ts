/** A source frame of the still picture of a set: what it shows, and how it is laid over a part of that picture. */
import type { Mat3 } from '../../geometry/mat3.js';
import { erode } from '../../image/morphology.js';
import { createPicture, type Picture } from '../../image/picture.js';
import type { PartBox } from '../render/frame-part.js';
import { layPart, partRead, type LayFilter, type Shift } from './lay-over.js';
import type { LightPlane } from './light-plane.js';
import type { LocalField } from './field-cells.js';

/** One source frame, read again whenever it is wanted. */
export interface MosaicSource {
  readonly frame: number;
  /** This frame's pixels → reference pixels. */
  readonly toReference: Mat3;
  readonly widthPx: number;
  readonly heightPx: number;
  /**
   * Display-coded picture of a box of the frame (x0, y0, x1, y1; grown to whole chroma samples) and the pixel of its
   * corner.
   */
  part(box: PartBox): { readonly picture: Picture; readonly x0: number; readonly y0: number };
  /**
   * Whole frame, `withoutBorder`: 0 where the set is hidden; else 100 (beside what hides it) to 250 (one and a half
   * shadow's reaches away from it).
   */
  readonly shows: Uint8Array;
}

/** A source with its place and light in the mosaic. */
export interface Placed {
  readonly source: MosaicSource;
  /** Source pixels → mosaic pixels. */
  readonly matrix: Mat3;
  /** Its light against the mosaic's, in mosaic pixels times `fieldScale`. */
  readonly light: LightPlane | null;
  /** What the matrix leaves over, in mosaic pixels times `fieldScale`. */
  readonly field: LocalField | null;
  readonly fieldScale: number;
}

/**
 * Takes two pixels away from what a frame shows, so that no filter reads beyond: its border and the rim of what hides
 * it.
 */
export function withoutBorder(shows: Uint8Array, w: number, h: number): Uint8Array {
  const mask = Float32Array.from(shows);
  erode(mask, w, h, 2, 2, mask);
  for (let x = 0; x < w; x++) for (const y of [0, 1, h - 2, h - 1]) mask[y * w + x] = 0;
  for (let y = 0; y < h; y++) for (const x of [0, 1, w - 2, w - 1]) mask[y * w + x] = 0;
  return Uint8Array.from(mask);
}

/**
 * The source's picture laid over width × height pixels; only what is read is converted. `footprint`: where it is made
 * much smaller.
 */
export function laySource(
  source: MosaicSource,
  matrix: Mat3,
  width: number,
  height: number,
  filter: LayFilter,
  shift: Shift | null,
  footprint = false,
): Picture {
  const box = partRead(source.widthPx, source.heightPx, matrix, width, height, shift);
  if (box === null) return createPicture(width, height, 3);
  const { picture, x0, y0 } = source.part(box);
  return layPart(picture, x0, y0, matrix, width, height, filter, 'clamp', shift, footprint);
}

/**
 * At least 1 where every pixel that a sample reads shows the set; what is over 1 tells how far off that is which hides
 * it, in shadow's reaches.
 */
export function validity(
  source: MosaicSource,
  matrix: Mat3,
  width: number,
  height: number,
  shift: Shift | null,
): Float32Array {
  const box = partRead(source.widthPx, source.heightPx, matrix, width, height, shift);
  if (box === null) return new Float32Array(width * height);
  const [x0, y0, x1, y1] = box,
    mask = createPicture(x1 - x0, y1 - y0, 1),
    { shows } = source;
  for (let y = y0, i = 0; y < y1; y++)
    for (let o = y * source.widthPx + x0; i < (y - y0 + 1) * mask.width; i++, o++) mask.data[i] = shows[o]! / 100;
  return layPart(mask, x0, y0, matrix, width, height, 'bilinear', 'zero', shift).data;
}
