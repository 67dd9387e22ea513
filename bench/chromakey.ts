/**
 * The plain key that people reach for, as a baseline: distance of the pixel's chroma from the screen's,
 * averaged over 3 × 3 pixels, less a similarity, over a blend (the published formula of FFmpeg's chromakey
 * filter), and the screen's primary limited to the mean of the other two. Similarity and blend are tuned on the
 * truth itself, a favour that our peel does not get.
 */
import type { VideoFrame } from '../src/media/types.js';

/** Chroma distance 0..1 at full size, screen colour = median chroma of the pixels with zero true alpha. */
function chromaDistance(frame: VideoFrame, truth: Float32Array): Float32Array {
  const { widthPx: w, heightPx: h } = frame;
  const cw = w >> frame.chromaShift[0];
  const us: number[] = [];
  const vs: number[] = [];
  const cb = frame.planes[1]!;
  const cr = frame.planes[2]!;
  const at = (x: number, y: number): number => (y >> frame.chromaShift[1]) * cw + (x >> frame.chromaShift[0]);
  for (let y = 0; y < h; y += 4) {
    for (let x = 0; x < w; x += 4) {
      if (truth[y * w + x]! > 0) continue;
      us.push(cb[at(x, y)]!);
      vs.push(cr[at(x, y)]!);
    }
  }
  us.sort((a, b) => a - b);
  vs.sort((a, b) => a - b);
  const ku = us[us.length >> 1] ?? 128;
  const kv = vs[vs.length >> 1] ?? 128;
  const raw = new Float32Array(w * h);
  for (let y = 0; y < h; y += 1)
    for (let x = 0; x < w; x += 1)
      raw[y * w + x] = Math.hypot(cb[at(x, y)]! - ku, cr[at(x, y)]! - kv) / (255 * Math.SQRT2);
  const out = new Float32Array(w * h);
  for (let y = 0; y < h; y += 1) {
    for (let x = 0; x < w; x += 1) {
      let s = 0;
      for (let j = -1; j <= 1; j += 1)
        for (let i = -1; i <= 1; i += 1)
          s += raw[Math.min(Math.max(y + j, 0), h - 1) * w + Math.min(Math.max(x + i, 0), w - 1)]!;
      out[y * w + x] = s / 9;
    }
  }
  return out;
}

/** The key at its best similarity and blend for this frame's truth within the band. */
export function tunedChromakey(frame: VideoFrame, truth: Float32Array, band: Uint8Array): Float32Array {
  const distance = chromaDistance(frame, truth);
  let best = Infinity;
  let chosen: readonly [number, number] = [0.04, 0.1];
  for (const similarity of [0.01, 0.02, 0.03, 0.04, 0.06, 0.08, 0.12]) {
    for (const blend of [0.02, 0.04, 0.06, 0.1, 0.15, 0.2]) {
      let sum = 0;
      for (let i = 0; i < band.length; i += 1)
        if (band[i] === 1) sum += (Math.min(1, Math.max(0, (distance[i]! - similarity) / blend)) - truth[i]!) ** 2;
      if (sum < best) {
        best = sum;
        chosen = [similarity, blend];
      }
    }
  }
  return distance.map((d) => Math.min(1, Math.max(0, (d - chosen[0]) / chosen[1])));
}

/** Coded R'G'B' with the screen's primary limited to the mean of the other two. */
export function despilled(coded: Float32Array, family: 'green' | 'blue'): Float32Array {
  const n = coded.length / 3;
  const out = coded.slice();
  const key = family === 'green' ? n : 2 * n;
  const other = family === 'green' ? 2 * n : n;
  for (let i = 0; i < n; i += 1) out[key + i] = Math.min(out[key + i]!, 0.5 * (out[i]! + out[other + i]!));
  return out;
}
