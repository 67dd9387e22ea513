/**
 * Luma pyramid for alignment. Level 0 is the frame smoothed by the binomial [1 2 1]/4 in both directions
 * (sd 0.71 px), so that bilinear sampling of it is nearly free of phase error; each further level halves
 * the size with [1 3 3 1]/8, whose centre falls between two pixels, so that pixel x of level l lies at
 * 2^l x of the frame (centres at +0.5). Edges clamp.
 */
import { kernels } from '../../image/kernels.js';
import { halfSize, halve } from '../../image/pyramid.js';
import type { RideMemory } from './ride-memory.js';

/** One level of a pyramid of luma, display-coded. */
export interface LumaLevel {
  readonly width: number;
  readonly height: number;
  /** height × width. */
  readonly data: Float32Array;
}
export type LumaPyramid = readonly LumaLevel[];

/**
 * Allocates the levels of a pyramid for frames of one size, in the kernels' memory where
 * one is given; at most `levels`, none below 12 px.
 */
export function allocatePyramid(widthPx: number, heightPx: number, levels: number, memory?: RideMemory): LumaLevel[] {
  const out: LumaLevel[] = [];
  let w = widthPx;
  let h = heightPx;
  for (let l = 0; l < levels && w >= 12 && h >= 12; l++) {
    out.push({ width: w, height: h, data: memory?.floats(w * h) ?? new Float32Array(w * h) });
    w = halfSize(w);
    h = halfSize(h);
  }
  return out;
}

/** Fills `dst` from a luma plane. */
export function fillPyramid(luma: Float32Array, dst: readonly LumaLevel[]): void {
  const l0 = dst[0]!;
  smoothBinomial(luma, l0.data, l0.width, l0.height);
  for (let l = 1; l < dst.length; l++) halve(dst[l - 1]!.data, dst[l - 1]!.width, dst[l - 1]!.height, dst[l]!.data);
}

/** Binomial [1 2 1]/4 both ways, edges repeated. */
export function smoothBinomial(src: Float32Array, dst: Float32Array, w: number, h: number): void {
  const door = kernels();
  const scope = door.scope();
  try {
    door.run('rideSmooth', [scope.input(src), scope.output(dst), w, h], h, 1, 4 * w + 64);
    scope.finish();
  } finally {
    scope.close();
  }
}

/** Plain twin of `smoothBinomial`. */
export function smoothBinomialPlain(src: Float32Array, dst: Float32Array, w: number, h: number): void {
  const tmp = new Float32Array(w * h);
  for (let y = 0; y < h; y++) {
    const o = y * w;
    tmp[o] = 0.75 * src[o]! + 0.25 * src[o + 1]!;
    for (let x = 1; x < w - 1; x++) tmp[o + x] = 0.25 * (src[o + x - 1]! + src[o + x + 1]!) + 0.5 * src[o + x]!;
    tmp[o + w - 1] = 0.75 * src[o + w - 1]! + 0.25 * src[o + w - 2]!;
  }
  for (let y = 0; y < h; y++) {
    const o = y * w;
    const a = (y > 0 ? y - 1 : 0) * w;
    const b = (y < h - 1 ? y + 1 : h - 1) * w;
    for (let x = 0; x < w; x++) dst[o + x] = 0.25 * (tmp[a + x]! + tmp[b + x]!) + 0.5 * tmp[o + x]!;
  }
}
