/**
 * The small picture that the scan looks at: luma on 96 × 54 cells and both chroma on 32 × 18, area-averaged from the
 * coded planes, each kept as unsigned 16-bit fixed point (8.8 of an 8-bit code) so that a saved and reloaded state is
 * the same to the bit. Averaging keeps fractions of a code value, which slow dissolves need. At scan size grain and
 * compression noise have mostly gone, and so has fine motion.
 *
 * A scan gets its frames reduced to 96 × 54 on the way (the media door); those are taken cell by cell. Full frames,
 * where that could not be done, are averaged here: large planes are read on every second or third row and column only.
 */
import type { VideoFrame } from '../media/types.js';

/** Size of a small frame in cells. */
export const SMALL_W = 96;
export const SMALL_H = 54;
/** Size of its reduction by three. */
export const COARSE_W = 32;
export const COARSE_H = 18;
const LUMA_CELLS = SMALL_W * SMALL_H;
const CHROMA_CELLS = COARSE_W * COARSE_H;
/** Values of one small frame: luma plane, then Cb, then Cr. */
export const SMALL_LENGTH = LUMA_CELLS + 2 * CHROMA_CELLS;

/** Luma 96 × 54, then Cb and Cr 32 × 18 each (neutral = 32768), all 8.8 fixed point of the 8-bit full-range code. */
export type SmallFrame = Uint16Array;

/**
 * Averages `src` (rows of `w` values) over the cells of a `cw` × `ch` grid into `dst` from `at`, as (mean − zero) ·
 * scale + base.
 */
function reducePlane(
  src: Uint8Array | Uint16Array | Float32Array,
  w: number,
  h: number,
  cw: number,
  ch: number,
  zero: number,
  scale: number,
  base: number,
  dst: Uint16Array,
  at: number,
): void {
  const rowStep = h >= 8 * ch ? 3 : h >= 4 * ch ? 2 : 1;
  const columnStep = w >= 10 * cw ? 3 : w >= 6 * cw ? 2 : 1;
  const edges = new Int32Array(cw + 1);
  for (let cx = 0; cx <= cw; cx++) edges[cx] = Math.floor((cx * w) / cw);
  const sums = new Float64Array(cw);
  for (let cy = 0; cy < ch; cy++) {
    const y0 = Math.floor((cy * h) / ch);
    const y1 = Math.max(y0 + 1, Math.floor(((cy + 1) * h) / ch));
    sums.fill(0);
    let rows = 0;
    for (let y = y0; y < y1; y += rowStep, rows++) {
      const r = y * w;
      // The columns read are staggered from row to row, so that fine upright patterns do not alias.
      const stagger = columnStep > 1 ? rows % columnStep : 0;
      for (let cx = 0; cx < cw; cx++) {
        const x0 = edges[cx]! + stagger;
        const x1 = Math.max(x0 + 1, edges[cx + 1]!);
        let sum = 0;
        let n = 0;
        for (let x = x0; x < x1; x += columnStep, n++) sum += src[r + x]!;
        sums[cx]! += sum / n;
      }
    }
    for (let cx = 0; cx < cw; cx++) {
      const v = (sums[cx]! / rows - zero) * scale + base;
      dst[at + cy * cw + cx] = v <= 0 ? 0 : v >= 65535 ? 65535 : v + 0.5;
    }
  }
}

/** Reduces a decoded frame. `dst` must hold SMALL_LENGTH values. RGB frames give BT.709 luma and colour differences. */
export function smallFrame(frame: VideoFrame, dst: SmallFrame = new Uint16Array(SMALL_LENGTH)): SmallFrame {
  const { widthPx: w, heightPx: h, planes } = frame;
  const depth = 2 ** (frame.bitDepth - 8);
  const full = frame.colour.fullRange;
  if (frame.layout === 'rgb') {
    const r = new Uint16Array(LUMA_CELLS);
    const g = new Uint16Array(LUMA_CELLS);
    const b = new Uint16Array(LUMA_CELLS);
    // Float planes are scene-linear, 1 = white; they are put on a square-root scale below, near enough to a display
    // code.
    const linear = planes[0] instanceof Float32Array;
    const scale = linear ? 65535 : 256 / depth;
    reducePlane(planes[0]!, w, h, SMALL_W, SMALL_H, 0, scale, 0, r, 0);
    reducePlane(planes[1]!, w, h, SMALL_W, SMALL_H, 0, scale, 0, g, 0);
    reducePlane(planes[2]!, w, h, SMALL_W, SMALL_H, 0, scale, 0, b, 0);
    if (linear) for (const p of [r, g, b]) for (let i = 0; i < LUMA_CELLS; i++) p[i] = Math.sqrt(p[i]! / 65535) * 65280;
    for (let i = 0; i < LUMA_CELLS; i++) dst[i] = 0.2126 * r[i]! + 0.7152 * g[i]! + 0.0722 * b[i]! + 0.5;
    for (let cy = 0; cy < COARSE_H; cy++) {
      for (let cx = 0; cx < COARSE_W; cx++) {
        let u = 0;
        let v = 0;
        for (let k = 0; k < 9; k++) {
          const i = (cy * 3 + Math.floor(k / 3)) * SMALL_W + cx * 3 + (k % 3);
          u += (b[i]! - dst[i]!) / 1.8556;
          v += (r[i]! - dst[i]!) / 1.5748;
        }
        dst[LUMA_CELLS + cy * COARSE_W + cx] = Math.max(0, Math.min(65535, 32768.5 + u / 9));
        dst[LUMA_CELLS + CHROMA_CELLS + cy * COARSE_W + cx] = Math.max(0, Math.min(65535, 32768.5 + v / 9));
      }
    }
    return dst;
  }
  if (
    w === SMALL_W &&
    h === SMALL_H &&
    frame.layout === 'yuv' &&
    frame.bitDepth === 16 &&
    frame.chromaShift[0] === 0 &&
    frame.chromaShift[1] === 0
  )
    return fromReduced(frame, full, dst);
  const lumaScale = (full ? 256 : (256 * 255) / 219) / depth;
  reducePlane(planes[0]!, w, h, SMALL_W, SMALL_H, full ? 0 : 16 * depth, lumaScale, 0, dst, 0);
  if (frame.layout === 'grey') {
    dst.fill(32768, LUMA_CELLS);
    return dst;
  }
  const cw = Math.ceil(w / 2 ** frame.chromaShift[0]);
  const ch = Math.ceil(h / 2 ** frame.chromaShift[1]);
  const chromaScale = (full ? 256 : (256 * 255) / 224) / depth;
  reducePlane(planes[1]!, cw, ch, COARSE_W, COARSE_H, 128 * depth, chromaScale, 32768, dst, LUMA_CELLS);
  reducePlane(planes[2]!, cw, ch, COARSE_W, COARSE_H, 128 * depth, chromaScale, 32768, dst, LUMA_CELLS + CHROMA_CELLS);
  return dst;
}

/** A frame that the media door has averaged already: 16 bits (256 a code value), chroma of the luma's size. */
function fromReduced(frame: VideoFrame, full: boolean, dst: SmallFrame): SmallFrame {
  const y = frame.planes[0]!;
  if (full) for (let i = 0; i < LUMA_CELLS; i++) dst[i] = y[i]!;
  else {
    for (let i = 0; i < LUMA_CELLS; i++) {
      const v = (y[i]! - 4096) * (255 / 219);
      dst[i] = v <= 0 ? 0 : v >= 65535 ? 65535 : v + 0.5;
    }
  }
  const k = (full ? 1 : 255 / 224) / 9;
  for (let p = 1; p < 3; p++) {
    const src = frame.planes[p]!;
    let at = LUMA_CELLS + (p - 1) * CHROMA_CELLS;
    for (let cy = 0; cy < COARSE_H; cy++) {
      for (let cx = 0, i = cy * 3 * SMALL_W; cx < COARSE_W; cx++, i += 3) {
        const a = i + SMALL_W;
        const b = a + SMALL_W;
        const s =
          src[i]! +
          src[i + 1]! +
          src[i + 2]! +
          src[a]! +
          src[a + 1]! +
          src[a + 2]! +
          src[b]! +
          src[b + 1]! +
          src[b + 2]!;
        const v = (s - 9 * 32768) * k + 32768;
        dst[at++] = v <= 0 ? 0 : v >= 65535 ? 65535 : v + 0.5;
      }
    }
  }
  return dst;
}
