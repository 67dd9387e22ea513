/**
 * The eight generators of a plane's motion: exponential, logarithm, displacement field, and a Gaussian prior over them.
 * Order as in ride-template.ts. Coordinates (u, v) are template units.
 */
import { mapTuple } from '../../core/tuples.js';
import { apply, multiply, normalise, tryInvert, type Mat3, type Point2 } from '../../geometry/mat3.js';

/** exp of Σ δ_k A_k over the eight generators, as a 3 × 3 matrix. */
export function generatorExp(d: ArrayLike<number>): Mat3 {
  const a: Mat3 = [d[3]! + d[4]!, d[5]! - d[2]!, d[0]!, d[5]! + d[2]!, d[3]! - d[4]!, d[1]!, d[6]!, d[7]!, 0];
  const a2 = multiply(a, a);
  const a3 = multiply(a2, a);
  const a4 = multiply(a2, a2);
  return mapTuple(a, (v, i) => (i % 4 === 0 ? 1 : 0) + v + a2[i]! / 2 + a3[i]! / 6 + a4[i]! / 24);
}

/** Generator coordinates of a matrix near the identity (up to scale), to third order. */
export function generatorLog(matrix: Mat3): Float64Array {
  const m = normalise(matrix);
  const inv = tryInvert(m);
  const out = new Float64Array(8);
  if (inv === null) return out;
  const n = normalise(inv);
  // (M − M⁻¹) / 2 = sinh A after both are brought to one scale; the trace part is removed by the last entry.
  const a = m.map((v, i) => (v - n[i]!) / 2);
  const t = a[8]!;
  out[0] = a[2]!;
  out[1] = a[5]!;
  out[2] = (a[3]! - a[1]!) / 2;
  out[3] = (a[0]! + a[4]!) / 2 - t;
  out[4] = (a[0]! - a[4]!) / 2;
  out[5] = (a[1]! + a[3]!) / 2;
  out[6] = a[6]!;
  out[7] = a[7]!;
  return out;
}

/** Displacement in template units of the point (u, v) for each generator: rows u then v, 2 × 8. */
export function generatorField(u: number, v: number): Float64Array {
  return Float64Array.of(1, 0, -v, u, u, v, -u * u, -u * v, 0, 1, u, v, -v, u, -u * v, -v * v);
}

/** Pixels of the frame per template unit at the region's middle. */
export function localScale(warp: Mat3): number {
  const [x, y] = apply(warp, 0, 0);
  const [ax, ay] = apply(warp, 0.01, 0);
  const [bx, by] = apply(warp, 0, 0.01);
  return Math.sqrt(Math.abs((ax - x) * (by - y) - (ay - y) * (bx - x))) / 0.01;
}

/**
 * Information of a prior that expects the corners within `shapePx` of the prediction, and the whole within `shiftPx`.
 */
export function priorInformation(
  corners: readonly Point2[],
  pxPerUnit: number,
  shapePx: number,
  shiftPx: number,
): Float64Array {
  const out = new Float64Array(64);
  const mean = new Float64Array(16);
  for (const [u, v] of corners) {
    const f = generatorField(u, v);
    for (let k = 0; k < 16; k++) mean[k] = mean[k]! + f[k]! / corners.length;
  }
  const add = (f: Float64Array, w: number): void => {
    for (let r = 0; r < 2; r++)
      for (let a = 0; a < 8; a++)
        for (let b = 0; b < 8; b++) {
          out[a * 8 + b] = out[a * 8 + b]! + w * f[r * 8 + a]! * f[r * 8 + b]!;
        }
  };
  for (const [u, v] of corners) {
    const f = generatorField(u, v);
    for (let k = 0; k < 16; k++) f[k] = f[k]! - mean[k]!;
    add(f, (pxPerUnit / shapePx) ** 2);
  }
  add(mean, (pxPerUnit / shiftPx) ** 2);
  return out;
}
