/**
 * Two fields in a frame: how much a weave of them combs, weaving, and replacing a field that belongs
 * to another moment. Rows of parity 0 (the first, third ... row) are the top field. Planes are
 * height × width; chroma rows alternate like luma's.
 */
import type { VideoFrame } from './types.js';

type Plane = Uint8Array | Uint16Array | Float32Array;

/**
 * Combing of the picture that has its rows of `parity` from `keep` and the others from `other`: the mean over pixels of
 * how far a row stands out from both neighbours on the same side, in 8-bit codes, beyond a dead band for noise.
 */
export function combing(keep: VideoFrame, other: VideoFrame, parity: number): number {
  const w = keep.widthPx;
  const h = keep.heightPx;
  const a = keep.planes[keep.layout === 'rgb' ? 1 : 0]!;
  const b = other.planes[other.layout === 'rgb' ? 1 : 0]!;
  const unit = 2 ** (keep.bitDepth - 8);
  const dead = 6 * unit;
  let sum = 0;
  let count = 0;
  // The kept rows are y - 1 and y + 1; every other column is enough.
  for (let y = parity + 1; y + 1 < h; y += 2) {
    const up = (y - 1) * w;
    const at = y * w;
    const down = (y + 1) * w;
    for (let x = 0; x < w; x += 2) {
      const v = b[at + x]!;
      const p = v - a[up + x]!;
      const q = v - a[down + x]!;
      if (p > dead && q > dead) sum += (p < q ? p : q) - dead;
      else if (p < -dead && q < -dead) sum -= (p > q ? p : q) + dead;
    }
    count += w >> 1;
  }
  return count === 0 ? 0 : sum / unit / count;
}

/** Mean absolute difference of two frames' luma in 8-bit codes, every other row and column of each field. */
export function meanDifference(a: VideoFrame, b: VideoFrame): number {
  const w = a.widthPx;
  const h = a.heightPx;
  const p = a.planes[a.layout === 'rgb' ? 1 : 0]!;
  const q = b.planes[b.layout === 'rgb' ? 1 : 0]!;
  let sum = 0;
  let count = 0;
  for (let y = 0; y < h; y += 1) {
    if ((y & 2) !== 0) continue;
    for (let x = 0; x < w; x += 2, count++) {
      const d = p[y * w + x]! - q[y * w + x]!;
      sum += d < 0 ? -d : d;
    }
  }
  return sum / count / 2 ** (a.bitDepth - 8);
}

function rowsOf(frame: VideoFrame, p: number): { width: number; height: number } {
  const chroma = frame.layout === 'yuv' && (p === 1 || p === 2);
  return chroma
    ? {
        width: (frame.widthPx + (1 << frame.chromaShift[0]) - 1) >> frame.chromaShift[0],
        height: (frame.heightPx + (1 << frame.chromaShift[1]) - 1) >> frame.chromaShift[1],
      }
    : { width: frame.widthPx, height: frame.heightPx };
}

/** Rows of `parity` from `keep`, the others from `other`. */
export function weave(keep: VideoFrame, other: VideoFrame, parity: number): VideoFrame {
  if (keep === other) return keep;
  const planes = keep.planes.map((src, p) => {
    const out = src.slice() as Uint8Array;
    const { width, height } = rowsOf(keep, p);
    const from = other.planes[p] as Uint8Array;
    for (let y = 1 - parity; y < height; y += 2) out.set(from.subarray(y * width, (y + 1) * width), y * width);
    return out;
  });
  return { ...keep, planes };
}

/**
 * Keeps the field of `parity` and makes the other's rows anew for the same moment: between the rows above and below
 * where the picture moves, from the same row a field earlier and later where it rests (the spatial guess is held within
 * what the rows around changed by; the rule of FFmpeg's yadif, M. Niedermayer 2006, without its edge search). At the
 * clip's ends `before` and `after` may be the frame itself.
 */
export function deinterlace(frame: VideoFrame, before: VideoFrame, after: VideoFrame, parity: number): VideoFrame {
  const planes = frame.planes.map((src, p) => {
    const { width, height } = rowsOf(frame, p);
    const out = src.slice();
    rebuildRows(src, before.planes[p]!, after.planes[p]!, out, width, height, parity);
    return out;
  });
  return { ...frame, planes };
}

function rebuildRows(cur: Plane, prev: Plane, next: Plane, out: Plane, w: number, h: number, parity: number): void {
  const round = out instanceof Float32Array ? 0 : 0.5;
  for (let y = 1 - parity; y < h; y += 2) {
    const at = y * w;
    const up = y > 0 ? at - w : at + w;
    const down = y + 1 < h ? at + w : at - w;
    for (let x = 0; x < w; x++) {
      const c = cur[up + x]!;
      const e = cur[down + x]!;
      // The missing field stood half a frame earlier in the frame before and half a frame later in this one.
      const earlier = prev[at + x]!;
      const later = cur[at + x]!;
      const rest = (earlier + later) * 0.5;
      const d0 = Math.abs(earlier - later) * 0.5;
      const d1 = (Math.abs(prev[up + x]! - c) + Math.abs(prev[down + x]! - e)) * 0.5;
      const d2 = (Math.abs(next[up + x]! - c) + Math.abs(next[down + x]! - e)) * 0.5;
      const d = d0 > d1 ? (d0 > d2 ? d0 : d2) : d1 > d2 ? d1 : d2;
      let v = (c + e) * 0.5;
      if (v > rest + d) v = rest + d;
      else if (v < rest - d) v = rest - d;
      out[at + x] = v + round;
    }
  }
}
