/**
 * Reading a plane between its pixels. Coordinates are continuous picture coordinates with pixel
 * centres at +0.5; beyond the edge the edge pixel repeats.
 */

/** Bilinear sample at (x, y). */
export function sampleBilinear(data: Float32Array, width: number, height: number, x: number, y: number): number {
  const u = x - 0.5;
  const v = y - 0.5;
  const fx = Math.floor(u);
  const fy = Math.floor(v);
  const ax = u - fx;
  const ay = v - fy;
  const x0 = fx < 0 ? 0 : fx >= width ? width - 1 : fx;
  const x1 = fx + 1 < 0 ? 0 : fx + 1 >= width ? width - 1 : fx + 1;
  const y0 = (fy < 0 ? 0 : fy >= height ? height - 1 : fy) * width;
  const y1 = (fy + 1 < 0 ? 0 : fy + 1 >= height ? height - 1 : fy + 1) * width;
  const top = data[y0 + x0]! + ax * (data[y0 + x1]! - data[y0 + x0]!);
  const bottom = data[y1 + x0]! + ax * (data[y1 + x1]! - data[y1 + x0]!);
  return top + ay * (bottom - top);
}

/** Four Keys weights (R. G. Keys, "Cubic convolution interpolation", IEEE ASSP 1981, a = −1/2) for fraction f. */
export function cubicWeights(f: number, out: Float64Array): void {
  const f2 = f * f;
  const f3 = f2 * f;
  out[0] = -0.5 * f3 + f2 - 0.5 * f;
  out[1] = 1.5 * f3 - 2.5 * f2 + 1;
  out[2] = -1.5 * f3 + 2 * f2 + 0.5 * f;
  out[3] = 0.5 * f3 - 0.5 * f2;
}

/** Six Lanczos weights (C. E. Duchon, J. Appl. Meteor. 1979, a = 3), normalised to sum 1, for fraction f in 0..1. */
export function lanczos3Weights(f: number, out: Float64Array): void {
  let sum = 0;
  for (let k = 0; k < 6; k++) {
    const t = Math.abs(k - 2 - f);
    let w: number;
    if (t < 1e-6) w = 1;
    else if (t >= 3) w = 0;
    else {
      const p = Math.PI * t;
      w = (3 * Math.sin(p) * Math.sin(p / 3)) / (p * p);
    }
    out[k] = w;
    sum += w;
  }
  for (let k = 0; k < 6; k++) out[k] = out[k]! / sum;
}
