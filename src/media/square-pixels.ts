/**
 * Films of the DVD and DV kind are stored with pixels that are wider or narrower than high. They are conformed once,
 * here: every line is resampled to the width that makes its pixels square (windowed sinc of three lobes: Lanczos;
 * Duchon 1979), so that angles, circles and everything that is measured or laid on come out right. Only the width
 * changes, so that the two fields of an interlaced picture stay apart.
 */
import type { VideoFrame } from './types.js';

type Plane = Uint8Array | Uint16Array | Float32Array;

/** Containers that say 1280:1281 mean square pixels. */
const SQUARE_ENOUGH = 0.01;
/** Beyond it a shape is damage: anamorphic films go up to two. */
const MOST = 3;
const LOBES = 3;

/**
 * Width, px and even, at which a picture stored `widthPx` wide with pixels of shape
 * `aspect` (width over height) has square ones.
 */
export function squareWidth(widthPx: number, aspect: readonly [number, number]): number {
  const a = aspect[0] / aspect[1];
  return !(a >= 1 / MOST && a <= MOST) || Math.abs(a - 1) <= SQUARE_ENOUGH
    ? widthPx
    : 2 * Math.round((widthPx * a) / 2);
}

interface Taps {
  readonly first: Int32Array;
  readonly weights: Float32Array;
  readonly count: number;
}

/** Lines of frames of one size brought to another width. Planes stay valid until the next call. */
export class LineResampler {
  private readonly tables = new Map<string, Taps>();
  private readonly planes: Plane[] = [];

  resample(frame: VideoFrame, widthPx: number): VideoFrame {
    const chroma = (p: number): boolean => frame.layout === 'yuv' && (p === 1 || p === 2);
    const planes = frame.planes.map((src, p) => {
      const shift = chroma(p) ? frame.chromaShift[0] : 0;
      const site = chroma(p) && shift > 0 ? frame.chromaSite[0] : 0;
      const from = (frame.widthPx + (1 << shift) - 1) >> shift;
      const to = (widthPx + (1 << shift) - 1) >> shift;
      const rows = src.length / from;
      const key = `${from} ${to} ${shift} ${site}`;
      let taps = this.tables.get(key);
      if (taps === undefined) this.tables.set(key, (taps = tapsOf(from, to, frame.widthPx / widthPx, shift, site)));
      let dst = this.planes[p];
      if (dst === undefined || dst.length !== to * rows || dst.constructor !== src.constructor)
        this.planes[p] = dst = new (src.constructor as new (n: number) => Plane)(to * rows);
      lines(src, from, rows, dst, to, taps, src instanceof Float32Array ? 0 : 2 ** frame.bitDepth - 1);
      return dst;
    });
    return { ...frame, widthPx, planes };
  }
}

/**
 * Weights of each new sample. `scale`: old pixels per new one. A chroma sample keeps its site beside its luma sample.
 */
function tapsOf(from: number, to: number, scale: number, shift: number, site: number): Taps {
  const wide = Math.max(1, scale);
  const reach = LOBES * wide;
  const count = 2 * Math.ceil(reach);
  const first = new Int32Array(to);
  const weights = new Float32Array(to * count);
  const step = 1 << shift;
  for (let j = 0; j < to; j++) {
    const x = ((j * step + site + 0.5) * scale - 0.5 - site) / step;
    const start = Math.ceil(x - reach);
    first[j] = start;
    let sum = 0;
    for (let k = 0; k < count; k++) sum += weights[j * count + k] = lanczos((start + k - x) / wide);
    for (let k = 0; k < count; k++) weights[j * count + k]! /= sum;
  }
  return { first, weights, count };
}

function lanczos(t: number): number {
  if (t === 0) return 1;
  if (Math.abs(t) >= LOBES) return 0;
  const a = Math.PI * t;
  return (LOBES * Math.sin(a) * Math.sin(a / LOBES)) / (a * a);
}

/** `most` 0: floats, neither rounded nor cut. */
function lines(
  src: Plane,
  from: number,
  rows: number,
  dst: Plane,
  to: number,
  { first, weights, count }: Taps,
  most: number,
): void {
  const line = new Float32Array(from + 2 * count);
  for (let y = 0; y < rows; y++) {
    const row = y * from;
    for (let i = 0; i < line.length; i++) line[i] = src[row + Math.min(from - 1, Math.max(0, i - count))]!;
    for (let j = 0; j < to; j++) {
      const at = first[j]! + count;
      let sum = 0;
      for (let k = 0; k < count; k++) sum += weights[j * count + k]! * line[at + k]!;
      dst[y * to + j] = most === 0 ? sum : Math.min(most, Math.max(0, Math.round(sum)));
    }
  }
}
