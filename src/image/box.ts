/**
 * Box filters: mean, sum, variance and covariance over a (2r+1)² window by running sums in
 * double precision, so that the cost does not depend on the radius. The window is cut at the
 * picture's edge, and a mean is over the pixels inside.
 */
import { planeOr, requirePlane, type WindowFilter } from './boundary.js';
import { mapPlanes } from './convolve.js';
import { KERNEL_FROM_PIXELS, kernels } from './kernels.js';
import type { Picture } from './picture.js';

function runBox(
  src: Float32Array,
  width: number,
  height: number,
  rx: number,
  ry: number,
  out: Float32Array,
  mean: boolean,
): void {
  const mid = new Float64Array(width * height);
  for (let y = 0; y < height; y++) {
    const o = y * width;
    let sum = 0;
    for (let x = 0; x < Math.min(rx, width); x++) sum += src[o + x]!;
    for (let x = 0; x < width; x++) {
      if (x + rx < width) sum += src[o + x + rx]!;
      if (x - rx - 1 >= 0) sum -= src[o + x - rx - 1]!;
      const n = Math.min(width - 1, x + rx) - Math.max(0, x - rx) + 1;
      mid[o + x] = mean ? sum / n : sum;
    }
  }
  const acc = new Float64Array(width);
  for (let y = 0; y < Math.min(ry, height); y++) {
    const o = y * width;
    for (let x = 0; x < width; x++) acc[x] = acc[x]! + mid[o + x]!;
  }
  for (let y = 0; y < height; y++) {
    const o = y * width;
    const add = (y + ry) * width;
    const sub = (y - ry - 1) * width;
    if (y + ry < height) for (let x = 0; x < width; x++) acc[x] = acc[x]! + mid[add + x]!;
    if (y - ry - 1 >= 0) for (let x = 0; x < width; x++) acc[x] = acc[x]! - mid[sub + x]!;
    const n = mean ? Math.min(height - 1, y + ry) - Math.max(0, y - ry) + 1 : 1;
    for (let x = 0; x < width; x++) out[o + x] = acc[x]! / n;
  }
}

/** Plain twin: mean over the window of half widths rx, ry (pixels) cut at the edge; `dst` may be `src`. */
export const boxMeanPlain: WindowFilter = (src, width, height, rx, ry = rx, dst) => {
  requirePlane(src, width, height, 'box mean');
  const out = planeOr(dst, width * height, 'box mean');
  runBox(src, width, height, Math.max(0, Math.floor(rx)), Math.max(0, Math.floor(ry)), out, true);
  return out;
};

/** Mean over a (2 rx + 1) × (2 ry + 1) window, cut at the edge; `dst` may be `src`. */
export const boxMean: WindowFilter = (src, width, height, rx, ry = rx, dst) =>
  box(src, width, height, rx, ry, dst, true);

/** Sum over the same window (pixels beyond the edge add nothing); `dst` may be `src`. */
export const boxSum: WindowFilter = (src, width, height, rx, ry = rx, dst) =>
  box(src, width, height, rx, ry, dst, false);

function box(
  src: Float32Array,
  width: number,
  height: number,
  rx: number,
  ry: number,
  dst: Float32Array | undefined,
  mean: boolean,
): Float32Array {
  requirePlane(src, width, height, 'box filter');
  const n = width * height;
  const out = planeOr(dst, n, 'box filter');
  const ix = Math.max(0, Math.floor(rx));
  const iy = Math.max(0, Math.floor(ry));
  if (n < KERNEL_FROM_PIXELS) {
    runBox(src, width, height, ix, iy, out, mean);
    return out;
  }
  const door = kernels();
  const scope = door.scope();
  try {
    const s = scope.input(src);
    const d = scope.output(out);
    const mid = scope.allocate(4 * n);
    const flag = mean ? 1 : 0;
    door.run('boxAcross', [s, mid, width, ix, flag], height, 2 * width);
    door.run('boxDown', [mid, d, width, height, iy, flag], width, 2 * height, 8 * width + 64);
    scope.finish();
  } finally {
    scope.close();
  }
  return out;
}

/** Local mean and variance (never negative) of one plane over the window. */
export function boxVariance(
  src: Float32Array,
  width: number,
  height: number,
  radius: number,
): { mean: Float32Array; variance: Float32Array } {
  const n = width * height;
  const square = new Float32Array(n);
  for (let i = 0; i < n; i++) square[i] = src[i]! * src[i]!;
  const mean = boxMean(src, width, height, radius);
  const variance = boxMean(square, width, height, radius, radius, square);
  for (let i = 0; i < n; i++) variance[i] = Math.max(0, variance[i]! - mean[i]! * mean[i]!);
  return { mean, variance };
}

/** Local covariance of two planes over the window. */
export function boxCovariance(
  a: Float32Array,
  b: Float32Array,
  width: number,
  height: number,
  radius: number,
): Float32Array {
  const n = width * height;
  const product = new Float32Array(n);
  for (let i = 0; i < n; i++) product[i] = a[i]! * b[i]!;
  const ma = boxMean(a, width, height, radius);
  const mb = boxMean(b, width, height, radius);
  const out = boxMean(product, width, height, radius, radius, product);
  for (let i = 0; i < n; i++) out[i] = out[i]! - ma[i]! * mb[i]!;
  return out;
}

/** Box mean of every plane of a picture; `dst` may be `src`. */
export function boxBlur(src: Picture, radius: number, dst?: Picture): Picture {
  return mapPlanes(src, dst, (from, to) => void boxMean(from, src.width, src.height, radius, radius, to));
}
