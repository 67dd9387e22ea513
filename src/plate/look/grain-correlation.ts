/**
 * How grain hangs together from pixel to pixel: the area over which a difference of frames does, and the
 * radius at which an autocorrelation falls to half.
 */

/**
 * Area in pixels over which the grain of a difference hangs together, from neighbours in the quarter of
 * the blocks (`block` px a side) where they agree least (what moves agrees more): a Gaussian
 * autocorrelation of ρ at one pixel covers π / −ln ρ.
 */
export function correlationArea(d: Float32Array, w: number, h: number, block: number): number {
  const rho: number[] = [];
  for (let y0 = 0; y0 + block <= h; y0 += block)
    for (let x0 = 0; x0 + block <= w; x0 += block) {
      let s = 0;
      let ss = 1e-12;
      for (let y = 0; y < block; y++)
        for (let x = 0, i = (y0 + y) * w + x0; x < block - 1; x++, i++) {
          s += d[i]! * d[i + 1]!;
          ss += d[i]! * d[i]!;
        }
      rho.push(s / ss);
    }
  const quarter = rho.sort((a, b) => a - b)[rho.length >> 2] ?? 0;
  return quarter < 0.05 ? 1 : Math.max(1, Math.PI / -Math.log(Math.min(0.95, quarter)));
}

/**
 * Radius at which the mean of both autocorrelations falls to half, read between lags on a Gaussian
 * (−ln ρ against distance squared), which is exact for Gaussian-shaped grain: noise blurred by sd
 * s has half radius 2 s √ln 2. 0 for white noise.
 */
export function halfRadius(x: readonly number[], y: readonly number[]): number {
  let before = 0;
  const mean = (k: number): number => ((x[k] ?? 0) + (y[k] ?? 0)) / 2;
  // What little is left, level, at the farthest lags is motion or flicker, not grain.
  const far = (mean(x.length - 1) + mean(x.length - 2)) / 2;
  const floor = far > 0 && far < 0.1 && mean(x.length - 3) < 1.6 * far ? far : 0;
  for (let k = 1; k < x.length; k++) {
    const rho = (mean(k) - floor) / (1 - floor);
    if (k === 1 && rho < 0.05) return 0;
    const here = -Math.log(Math.max(1e-4, rho));
    if (here >= Math.LN2) {
      const t = (Math.LN2 - before) / (here - before);
      return Math.sqrt((k - 1) ** 2 + t * (k * k - (k - 1) ** 2));
    }
    before = here;
  }
  return x.length - 1;
}
