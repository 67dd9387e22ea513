/** How far two pictures with values 0..1 are apart. */

/** Mean squared difference, with `mask` only where it is non-zero. */
function meanSquaredError(a: ArrayLike<number>, b: ArrayLike<number>, mask?: ArrayLike<number>): number {
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
