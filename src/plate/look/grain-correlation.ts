/**
 * How grain hangs together from pixel to pixel: the area over which a difference of frames does, the radius at which an
 * autocorrelation falls to half, and what of it is no grain but texture that did not come to lie on itself.
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

/** Two autocorrelations of one grain may differ by so much at a lag, from few blocks or a codec's own ways. */
const ALIKE = 0.1;

/**
 * Takes texture that moved out of what two frames of a moving picture differ by. Film grain and a sensor's noise hang
 * together alike in all directions; planks, grass and what a camera swept do not, and what is left of them once the
 * frames are laid over each other only adds. So of each lag the lesser of both directions is the grain's (none, where
 * their signs differ). Of the variance T a residue R is a part: ρ = ((T − R) ρg + R ρr) / T in either direction, so
 * that R / T is at least the difference of both, what is negative counted as nothing.
 * @returns the grain's autocorrelation, the same both ways, and the residue's least share of the variance
 */
export function withoutResidue(x: readonly number[], y: readonly number[]): { both: number[]; share: number } {
  const lesser = (a: number, b: number): number => (a * b <= 0 ? 0 : Math.sign(a) * Math.min(Math.abs(a), Math.abs(b)));
  const apart = x.map((v, k) => Math.abs(Math.max(0, v) - Math.max(0, y[k]!)));
  return {
    both: x.map((v, k) => lesser(v, y[k]!)),
    share: Math.max(0, Math.max(...apart) - ALIKE),
  };
}
