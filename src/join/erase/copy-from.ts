/**
 * What of the still picture of a set may be handed on into what no frame shows. A person who stays, or a thing that
 * passes in front, is in it too where it covers the same place on most frames, and must not be multiplied: what moves
 * by itself (set-movers.ts) and what is marked as standing for itself is left out.
 */
import { apply, multiply, tryInvert } from '../../geometry/mat3.js';
import { dilate } from '../../image/morphology.js';
import { createPicture } from '../../image/picture.js';
import { rasterizeMoved } from '../../image/polygon.js';
import { warpHomography } from '../../image/warp.js';
import type { Mosaic } from './erase-mosaic.js';
import type { MosaicSource } from './mosaic-source.js';
import type { SetMotion } from './set-motion.js';
import type { SetMovers } from './set-movers.js';

/** A place counts as the thing's where it lies there on more than such a share of the frames that show it. */
const MOST = 0.4;

/**
 * What went so far by itself, as a share of a frame's width, is not copied: people who stand and talk sway by so much
 * (seen on two at a railing). What is set is misplaced by some share of the camera's own way, up to what counts as
 * walking anyhow.
 */
const STIRS = 0.004,
  MISPLACED = 0.03,
  WALKS = 0.012;

/** Masks of movers reach over them by less than this, as a share of a frame's width. */
const RIM = 0.03;

/** How far a thing must have gone by itself not to be copied, as a share of a frame's width. */
export function stirs(
  motion: SetMotion,
  span: { readonly in: number; readonly out: number },
  widthPx: number,
  heightPx: number,
): number {
  let way = 0;
  for (let n = span.in; n < span.out; n++) {
    const [x, y] = apply(motion.fromReference(n), widthPx / 2, heightPx / 2);
    way = Math.max(way, Math.hypot(x - widthPx / 2, y - heightPx / 2));
  }
  // The reference is a frame in the middle: the whole way is about twice as long.
  return Math.min(WALKS, Math.max(STIRS, (MISPLACED * 2 * way) / widthPx));
}

/**
 * 1 where the still picture may be copied from.
 *
 * @param apart outlines by frame, px
 * @param sources the frames that the still picture is made of
 */
export function mayCopy(
  mosaic: Mosaic,
  sources: readonly MosaicSource[],
  movers: SetMovers | null,
  apart: readonly ((frame: number) => [number, number][])[],
): Uint8Array {
  const { width: w, height: h } = mosaic,
    n = w * h,
    out = new Uint8Array(n).fill(1);
  if (movers === null && apart.length === 0) return out;
  const shown = new Float32Array(n),
    taken = new Float32Array(n),
    one = new Float32Array(n);
  for (const s of sources) {
    const to = multiply(mosaic.fromReference, s.toReference);
    if (tryInvert(to) === null) continue;
    const own = createPicture(s.widthPx, s.heightPx, 1),
      there = createPicture(s.widthPx, s.heightPx, 1),
      mask = movers?.maskOf(s.frame) ?? null;
    for (let i = 0; i < own.data.length; i++) own.data[i] = s.shows[i]! >= 100 ? 1 : 0;
    if (mask !== null) {
      // What is erased moves too; the set along its rim is the best there is to copy.
      const erased = dilate(
        own.data.map((v) => 1 - v),
        s.widthPx,
        s.heightPx,
        Math.ceil(RIM * s.widthPx),
      );
      for (let i = 0; i < own.data.length; i++) there.data[i] = mask[i] === 1 && erased[i]! === 0 ? 1 : 0;
    }
    const seen = warpHomography(own, to, w, h, { filter: 'bilinear', boundary: 'zero' }).data,
      moves = warpHomography(there, to, w, h, { filter: 'bilinear', boundary: 'zero' }).data;
    for (const path of apart) {
      rasterizeMoved(path(s.frame), to, w, h, one);
      for (let i = 0; i < n; i++) if (one[i]! > 0) moves[i] = Math.max(moves[i]!, seen[i]!);
    }
    for (let i = 0; i < n; i++) {
      shown[i] = shown[i]! + seen[i]!;
      taken[i] = taken[i]! + moves[i]!;
    }
  }
  for (let i = 0; i < n; i++) if (taken[i]! > MOST * shown[i]!) out[i] = 0;
  return out;
}
