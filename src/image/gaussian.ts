/**
 * Gaussian blur by direct separable convolution with sampled taps, cut at 3.5 sigma and normalised. Exact for small
 * sigma; above some 8 px the recursive filter (recursive-gaussian.ts) costs less. Beyond the edge the edge pixel
 * repeats ('clamp') unless asked otherwise. Sigma in pixels, standard deviation of the Gaussian.
 */
import { PlatewrightError } from '../core/errors.js';
import type { Boundary } from './boundary.js';
import { convolveSeparable, mapPlanes } from './convolve.js';
import type { Picture } from './picture.js';
import { recursiveGaussian } from './recursive-gaussian.js';

/** Above this sigma `blur` takes the recursive filter: its cost does not grow with sigma. */
const RECURSIVE_FROM_PX = 6;

/**
 * Odd number of normalised Gaussian weights, radius ceil(3.5 sigma); sigma 0 gives the single weight 1. Throws
 * `PW-IMAGE-SIGMA` below 0 and for what is no number.
 */
export function gaussianTaps(sigmaPx: number): Float32Array {
  if (!(sigmaPx >= 0) || !Number.isFinite(sigmaPx)) {
    throw new PlatewrightError('PW-IMAGE-SIGMA', `a blur needs a finite sigma of 0 px or more, but got ${sigmaPx}`, {
      kind: 'internal',
    });
  }
  if (sigmaPx < 0.05) return Float32Array.of(1);
  const r = Math.ceil(3.5 * sigmaPx);
  const taps = new Float64Array(2 * r + 1);
  let sum = 0;
  for (let i = -r; i <= r; i++) {
    const w = Math.exp(-(i * i) / (2 * sigmaPx * sigmaPx));
    taps[i + r] = w;
    sum += w;
  }
  return Float32Array.from(taps, (w) => w / sum);
}

/** Gaussian of one plane (height × width) by direct convolution; `dst` may be `src`. */
export function gaussianPlane(
  src: Float32Array,
  width: number,
  height: number,
  sigmaXPx: number,
  sigmaYPx: number = sigmaXPx,
  dst?: Float32Array,
  boundary: Boundary = 'clamp',
): Float32Array {
  return convolveSeparable(src, width, height, gaussianTaps(sigmaXPx), gaussianTaps(sigmaYPx), boundary, dst);
}

/** Gaussian of one plane by whichever method costs less at this sigma; the edge pixel repeats. `dst` may be `src`. */
export function blurPlane(
  src: Float32Array,
  width: number,
  height: number,
  sigmaPx: number,
  dst?: Float32Array,
): Float32Array {
  return sigmaPx >= RECURSIVE_FROM_PX
    ? recursiveGaussian(src, width, height, sigmaPx, sigmaPx, dst)
    : gaussianPlane(src, width, height, sigmaPx, sigmaPx, dst);
}

/** {@link blurPlane} on every plane of a picture (premultiplied pictures stay right). `dst` may be `src`. */
export function blur(src: Picture, sigmaPx: number, dst?: Picture): Picture {
  return mapPlanes(src, dst, (from, to) => void blurPlane(from, src.width, src.height, sigmaPx, to));
}
