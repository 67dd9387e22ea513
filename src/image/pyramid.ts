/**
 * Halving pyramid (P. J. Burt, E. H. Adelson, "The Laplacian pyramid as a compact image code", IEEE Trans. Comm. 1983).
 * Taps are the even binomial [1 3 3 1]/8, not their odd five, so that a pixel of the small picture lies exactly over
 * its four parents: with pixel centres at +0.5 a point (x, y) of level k is (x/2, y/2) of level k + 1, without a
 * half-pixel shift. Odd sizes round up; the edge pixel repeats.
 */
import { planeOr, requirePlane } from './boundary.js';
import { KERNEL_FROM_PIXELS, kernels } from './kernels.js';

/** One level: a plane of height × width. */
export interface PyramidLevel {
  readonly width: number;
  readonly height: number;
  readonly data: Float32Array;
}

/** Width or height of the next coarser level. */
export function halfSize(n: number): number {
  return (n + 1) >> 1;
}

/** Plain twin: halves one plane; result ceil(width/2) × ceil(height/2). */
export function halvePlain(src: Float32Array, width: number, height: number, dst?: Float32Array): Float32Array {
  requirePlane(src, width, height, 'halving');
  const w = halfSize(width);
  const h = halfSize(height);
  const out = planeOr(dst, w * h, 'halving');
  const line = new Float32Array(width);
  for (let y = 0; y < h; y++) {
    const y0 = Math.max(0, 2 * y - 1) * width;
    const y1 = 2 * y * width;
    const y2 = Math.min(height - 1, 2 * y + 1) * width;
    const y3 = Math.min(height - 1, 2 * y + 2) * width;
    for (let x = 0; x < width; x++) line[x] = src[y0 + x]! + src[y3 + x]! + 3 * (src[y1 + x]! + src[y2 + x]!);
    for (let x = 0; x < w; x++) {
      const a = line[Math.max(0, 2 * x - 1)]!;
      const b = line[2 * x]!;
      const c = line[Math.min(width - 1, 2 * x + 1)]!;
      const d = line[Math.min(width - 1, 2 * x + 2)]!;
      out[y * w + x] = (a + d + 3 * (b + c)) * (1 / 64);
    }
  }
  return out;
}

/** Halves one plane; result ceil(width/2) × ceil(height/2). */
export function halve(src: Float32Array, width: number, height: number, dst?: Float32Array): Float32Array {
  requirePlane(src, width, height, 'halving');
  if (width * height < KERNEL_FROM_PIXELS) return halvePlain(src, width, height, dst);
  const out = planeOr(dst, halfSize(width) * halfSize(height), 'halving');
  const door = kernels();
  const scope = door.scope();
  try {
    door.run(
      'halve',
      [scope.input(src), scope.output(out), width, height],
      halfSize(height),
      2 * width,
      4 * width + 128,
    );
    scope.finish();
  } finally {
    scope.close();
  }
  return out;
}

/**
 * Plain twin: doubles one plane to `outWidth` × `outHeight` (2 w or 2 w − 1 each way) with weights 3/4 and 1/4
 * (linear).
 */
export function doublePlain(
  src: Float32Array,
  width: number,
  height: number,
  outWidth: number,
  outHeight: number,
  dst?: Float32Array,
): Float32Array {
  requirePlane(src, width, height, 'doubling');
  const out = planeOr(dst, outWidth * outHeight, 'doubling');
  const line = new Float32Array(width);
  for (let y = 0; y < outHeight; y++) {
    const near = Math.min(height - 1, y >> 1) * width;
    const far = Math.min(height - 1, Math.max(0, (y >> 1) + ((y & 1) === 0 ? -1 : 1))) * width;
    for (let x = 0; x < width; x++) line[x] = 0.75 * src[near + x]! + 0.25 * src[far + x]!;
    for (let x = 0; x < outWidth; x++) {
      const n = Math.min(width - 1, x >> 1);
      const f = Math.min(width - 1, Math.max(0, (x >> 1) + ((x & 1) === 0 ? -1 : 1)));
      out[y * outWidth + x] = 0.75 * line[n]! + 0.25 * line[f]!;
    }
  }
  return out;
}

/** Doubles one plane to the given finer size. */
export function double(
  src: Float32Array,
  width: number,
  height: number,
  outWidth: number,
  outHeight: number,
  dst?: Float32Array,
): Float32Array {
  requirePlane(src, width, height, 'doubling');
  const n = outWidth * outHeight;
  // The kernel relies on exactly twice (or one less): other sizes have no place in a pyramid.
  if (n < KERNEL_FROM_PIXELS || halfSize(outWidth) !== width || halfSize(outHeight) !== height)
    return doublePlain(src, width, height, outWidth, outHeight, dst);
  const out = planeOr(dst, n, 'doubling');
  const door = kernels();
  const scope = door.scope();
  try {
    door.run(
      'double',
      [scope.input(src), scope.output(out), width, height, outWidth],
      outHeight,
      outWidth,
      4 * width + 128,
    );
    scope.finish();
  } finally {
    scope.close();
  }
  return out;
}

/**
 * Levels from full size (level 0 is `src` itself, not a copy) down to `levels` levels or a side below `minSide` pixels.
 */
export function buildPyramid(
  src: Float32Array,
  width: number,
  height: number,
  levels: number,
  minSide = 8,
): PyramidLevel[] {
  const out: PyramidLevel[] = [{ width, height, data: src }];
  while (out.length < levels) {
    const last = out[out.length - 1]!;
    const w = halfSize(last.width);
    const h = halfSize(last.height);
    if (Math.min(w, h) < minSide) break;
    out.push({ width: w, height: h, data: halve(last.data, last.width, last.height) });
  }
  return out;
}
