/**
 * How far two pictures are apart: PSNR, structural similarity (Z. Wang, A. C. Bovik, H. R. Sheikh, E. P. Simoncelli,
 * "Image quality assessment: from error visibility to structural similarity", IEEE TIP 13, 2004: Gaussian window of 1.5
 * px, K1 = 0.01, K2 = 0.03), gradient and pixel errors. Ranges are 0..1.
 */

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
