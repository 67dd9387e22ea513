/**
 * The vector in which a dissolve is a straight line: luma and both chroma on 32 × 18 cells, smoothed by 3 × 3 so that
 * motion inside the two shots weighs little. In 8-bit code values; chroma centred on 0.
 */
import { COARSE_H, COARSE_W, SMALL_H, SMALL_W, type SmallFrame } from './small-frame.js';

const CELLS = COARSE_W * COARSE_H;
/** Values of a low vector. */
export const LOW_LENGTH = 3 * CELLS;

/** The vector of a small frame, three planes of cells in `dst`, which must not be `scratch`. */
export function lowVector(
  f: SmallFrame,
  dst: Float32Array = new Float32Array(LOW_LENGTH),
  scratch: Float32Array = new Float32Array(LOW_LENGTH),
): Float32Array {
  for (let cy = 0; cy < COARSE_H; cy++) {
    for (let cx = 0; cx < COARSE_W; cx++) {
      let s = 0;
      for (let v = 0; v < 3; v++) {
        const i = (cy * 3 + v) * SMALL_W + cx * 3;
        s += f[i]! + f[i + 1]! + f[i + 2]!;
      }
      scratch[cy * COARSE_W + cx] = s / (9 * 256);
    }
  }
  const c0 = SMALL_W * SMALL_H;
  for (let i = 0; i < 2 * CELLS; i++) scratch[CELLS + i] = (f[c0 + i]! - 32768) / 256;
  for (let p = 0; p < 3; p++) smooth(scratch, dst, p * CELLS);
  return dst;
}

/** Mean over 3 × 3 cells (those that lie in the frame) of one plane; rows first, then columns. */
function smooth(src: Float32Array, dst: Float32Array, at: number): void {
  const last = COARSE_W - 1;
  for (let y = 0, i = at; y < COARSE_H; y++, i += COARSE_W) {
    let a = src[i]!;
    let b = src[i + 1]!;
    dst[i] = (a + b) / 2;
    for (let x = 1; x < last; x++) {
      const c = src[i + x + 1]!;
      dst[i + x] = (a + b + c) / 3;
      a = b;
      b = c;
    }
    dst[i + last] = (a + b) / 2;
  }
  for (let x = 0; x < COARSE_W; x++) {
    let i = at + x;
    let a = dst[i]!;
    let b = dst[i + COARSE_W]!;
    dst[i] = (a + b) / 2;
    for (let y = 1; y < COARSE_H - 1; y++) {
      i += COARSE_W;
      const c = dst[i + COARSE_W]!;
      dst[i] = (a + b + c) / 3;
      a = b;
      b = c;
    }
    dst[i + COARSE_W] = (a + b) / 2;
  }
}

/** Standard deviation of the luma cells: how far from a flat picture. */
export function lowContrast(a: Float32Array): number {
  let s = 0;
  let ss = 0;
  for (let i = 0; i < CELLS; i++) {
    s += a[i]!;
    ss += a[i]! * a[i]!;
  }
  return Math.sqrt(Math.max(0, ss / CELLS - (s / CELLS) ** 2));
}
