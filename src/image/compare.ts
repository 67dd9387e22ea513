/**
 * How far two pictures are apart: PSNR, structural similarity (Z. Wang, A. C. Bovik, H. R. Sheikh, E. P. Simoncelli,
 * "Image quality assessment: from error visibility to structural similarity", IEEE TIP 13, 2004: Gaussian window of 1.5
 * px, K1 = 0.01, K2 = 0.03), gradient and pixel errors. Ranges are 0..1.
 */
import { gaussianPlane } from './gaussian.js';

/** Mean squared difference, with `mask` only where it is non-zero. */
export function meanSquaredError(a: ArrayLike<number>, b: ArrayLike<number>, mask?: ArrayLike<number>): number {
  let n = 0;
  let sum = 0;
  for (let i = 0; i < a.length; i++) {
    if (mask !== undefined && mask[i % mask.length] === 0) continue;
    const d = a[i]! - b[i]!;
    sum += d * d;
    n++;
  }
  return sum / n;
}

/** Peak signal-to-noise ratio in dB for values 0..1; Infinity for equal inputs. */
export function psnrDb(a: ArrayLike<number>, b: ArrayLike<number>, mask?: ArrayLike<number>): number {
  return -10 * Math.log10(meanSquaredError(a, b, mask));
}

/** SSIM map of two planes 0..1. */
export function ssimMap(a: Float32Array, b: Float32Array, width: number, height: number): Float32Array {
  const n = width * height;
  const c1 = 0.01 * 0.01;
  const c2 = 0.03 * 0.03;
  const aa = new Float32Array(n);
  const bb = new Float32Array(n);
  const ab = new Float32Array(n);
  for (let i = 0; i < n; i++) {
    aa[i] = a[i]! * a[i]!;
    bb[i] = b[i]! * b[i]!;
    ab[i] = a[i]! * b[i]!;
  }
  const ma = gaussianPlane(a, width, height, 1.5);
  const mb = gaussianPlane(b, width, height, 1.5);
  for (const p of [aa, bb, ab]) gaussianPlane(p, width, height, 1.5, 1.5, p);
  for (let i = 0; i < n; i++) {
    const x = ma[i]!;
    const y = mb[i]!;
    ab[i] =
      ((2 * x * y + c1) * (2 * (ab[i]! - x * y) + c2)) /
      ((x * x + y * y + c1) * (aa[i]! - x * x + bb[i]! - y * y + c2));
  }
  return ab;
}

/** Mean SSIM of two planes 0..1. */
export function ssim(a: Float32Array, b: Float32Array, width: number, height: number): number {
  const map = ssimMap(a, b, width, height);
  let sum = 0;
  for (let i = 0; i < map.length; i++) sum += map[i]!;
  return sum / map.length;
}
