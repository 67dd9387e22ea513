/**
 * Resampling to another size along the axes: exact pixel-area averages ('area'), or the kernel named, widened by the
 * minification so that its footprint covers what the small pixel covers (as in Turkowski, "Filters for common
 * resampling tasks", Graphics Gems 1990). Pixel centres at +0.5: out x = (x + 0.5) · w/W − 0.5. The edge pixel repeats.
 */
import { planeOr, requirePlane } from './boundary.js';
import { createPicture, plane, type Picture } from './picture.js';

/** Kernels that a picture may be resized by. */
export type ResizeFilter = 'area' | 'linear' | 'cubic' | 'lanczos3';

/** Weight and support of each kernel at distance t in (widened) pixels. */
function kernelWeight(filter: 'linear' | 'cubic' | 'lanczos3', t: number): number {
  const a = Math.abs(t);
  switch (filter) {
    case 'linear':
      return a < 1 ? 1 - a : 0;
    case 'cubic': // Keys 1981, a = -1/2: third-order exact.
      if (a < 1) return (1.5 * a - 2.5) * a * a + 1;
      return a < 2 ? ((-0.5 * a + 2.5) * a - 4) * a + 2 : 0;
    case 'lanczos3': {
      if (a < 1e-6) return 1;
      if (a >= 3) return 0;
      const p = Math.PI * a;
      return (3 * Math.sin(p) * Math.sin(p / 3)) / (p * p);
    }
  }
}

const KERNEL_RADIUS = { linear: 1, cubic: 2, lanczos3: 3 } as const;

interface Axis {
  readonly start: Int32Array;
  readonly taps: Float32Array;
  readonly count: number;
}

/** For each output pixel the first source pixel (may lie outside) and `count` normalised weights. */
function axisTable(from: number, to: number, filter: ResizeFilter): Axis {
  const scale = from / to;
  const widen = Math.max(1, scale);
  const radius = filter === 'area' ? 0.5 * Math.max(scale, 1e-9) : KERNEL_RADIUS[filter] * widen;
  const count = Math.ceil(2 * radius) + 2;
  const start = new Int32Array(to);
  const taps = new Float32Array(to * count);
  for (let i = 0; i < to; i++) {
    const centre = (i + 0.5) * scale;
    const first = Math.floor(centre - radius);
    start[i] = first;
    let sum = 0;
    const w = new Float64Array(count);
    for (let k = 0; k < count; k++) {
      const p = first + k;
      const weight =
        filter === 'area'
          ? Math.max(0, Math.min(p + 1, centre + radius) - Math.max(p, centre - radius))
          : kernelWeight(filter, (p + 0.5 - centre) / widen);
      w[k] = weight;
      sum += weight;
    }
    for (let k = 0; k < count; k++) taps[i * count + k] = w[k]! / sum;
  }
  return { start, taps, count };
}

/** Resizes one plane to outWidth × outHeight. Making larger with 'area' repeats pixels. */
export function resizePlane(
  src: Float32Array,
  width: number,
  height: number,
  outWidth: number,
  outHeight: number,
  filter: ResizeFilter = 'area',
  dst?: Float32Array,
): Float32Array {
  requirePlane(src, width, height, 'resize');
  const out = planeOr(dst, outWidth * outHeight, 'resize');
  const ax = axisTable(width, outWidth, filter);
  const ay = axisTable(height, outHeight, filter);
  const mid = new Float32Array(outWidth * height);
  for (let y = 0; y < height; y++) {
    const row = y * width;
    for (let x = 0; x < outWidth; x++) {
      const s = ax.start[x]!;
      const o = x * ax.count;
      let sum = 0;
      if (s >= 0 && s + ax.count <= width) {
        for (let k = 0; k < ax.count; k++) sum += ax.taps[o + k]! * src[row + s + k]!;
      } else {
        for (let k = 0; k < ax.count; k++) sum += ax.taps[o + k]! * src[row + Math.min(width - 1, Math.max(0, s + k))]!;
      }
      mid[y * outWidth + x] = sum;
    }
  }
  const acc = new Float64Array(outWidth);
  for (let y = 0; y < outHeight; y++) {
    acc.fill(0);
    for (let k = 0; k < ay.count; k++) {
      const weight = ay.taps[y * ay.count + k]!;
      if (weight === 0) continue;
      const row = Math.min(height - 1, Math.max(0, ay.start[y]! + k)) * outWidth;
      for (let x = 0; x < outWidth; x++) acc[x] = acc[x]! + weight * mid[row + x]!;
    }
    const o = y * outWidth;
    for (let x = 0; x < outWidth; x++) out[o + x] = acc[x]!;
  }
  return out;
}

/** Resizes every plane (premultiplied pictures stay right). */
export function resize(
  src: Picture,
  outWidth: number,
  outHeight: number,
  filter: ResizeFilter = 'area',
  dst?: Picture,
): Picture {
  const out = dst ?? createPicture(outWidth, outHeight, src.channels);
  for (let c = 0; c < src.channels; c++)
    resizePlane(plane(src, c), src.width, src.height, outWidth, outHeight, filter, plane(out, c));
  return out;
}
