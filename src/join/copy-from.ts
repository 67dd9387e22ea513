/**
 * What of the still picture of a set may be handed on into what no frame shows. A person who stays, or a thing that passes in
 * front, is in it too where it covers the same place on most frames, and must not be multiplied: what moves by itself
 * (set-movers.ts) and what is marked as standing for itself is left out.
 */
import { apply, multiply, tryInvert } from '../geometry/mat3.js';
import { createPicture } from '../image/picture.js';
import { rasterizePolygon } from '../image/polygon.js';
import { warpHomography } from '../image/warp.js';
import type { Mosaic, MosaicSource } from './erase-mosaic.js';
import type { SetMovers } from './set-movers.js';

/** A place counts as the thing's where it lies there on more than such a share of the frames that show it. */
const MOST = 0.4;

/** 1 where the still picture may be copied from. @param apart outlines by frame, px @param sources the frames that the still picture is made of */
export function mayCopy(mosaic: Mosaic, sources: readonly MosaicSource[], movers: SetMovers | null, apart: readonly ((frame: number) => [number, number][])[]): Uint8Array {
  const { width: w, height: h } = mosaic, n = w * h, out = new Uint8Array(n).fill(1);
  if (movers === null && apart.length === 0) return out;
  const shown = new Float32Array(n), taken = new Float32Array(n), one = new Float32Array(n);
  for (const s of sources) {
    const to = multiply(mosaic.fromReference, s.toReference);
    if (tryInvert(to) === null) continue;
    const own = createPicture(s.widthPx, s.heightPx, 1), there = createPicture(s.widthPx, s.heightPx, 1), mask = movers?.maskOf(s.frame) ?? null;
    for (let i = 0; i < own.data.length; i++) { own.data[i] = s.shows[i]! >= 100 ? 1 : 0; there.data[i] = mask !== null && mask[i] === 1 ? own.data[i]! : 0; }
    const seen = warpHomography(own, to, w, h, { filter: 'bilinear', boundary: 'zero' }).data, moves = warpHomography(there, to, w, h, { filter: 'bilinear', boundary: 'zero' }).data;
    for (const path of apart) {
      rasterizePolygon(path(s.frame).map((p) => apply(to, p[0], p[1])), w, h, one);
      for (let i = 0; i < n; i++) if (one[i]! > 0) moves[i] = Math.max(moves[i]!, seen[i]!);
    }
    for (let i = 0; i < n; i++) { shown[i] = shown[i]! + seen[i]!; taken[i] = taken[i]! + moves[i]!; }
  }
  for (let i = 0; i < n; i++) if (taken[i]! > MOST * shown[i]!) out[i] = 0;
  return out;
}
