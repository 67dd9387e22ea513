/**
 * Linear RGB between primaries, by the derivation of SMPTE RP 177 from chromaticities (BT.709-6, BT.601-7, BT.2020-2, DCI P3
 * with D65). All have the white point D65 (0.3127, 0.3290), so no adaptation is needed.
 */
import type { PrimariesName } from './types.js';

type Matrix = readonly number[];

const CHROMATICITIES: Record<PrimariesName, readonly [number, number, number, number, number, number]> = {
  bt709: [0.64, 0.33, 0.3, 0.6, 0.15, 0.06],
  'bt601-525': [0.63, 0.34, 0.31, 0.595, 0.155, 0.07],
  'bt601-625': [0.64, 0.33, 0.29, 0.6, 0.15, 0.06],
  bt2020: [0.708, 0.292, 0.17, 0.797, 0.131, 0.046],
  p3: [0.68, 0.32, 0.265, 0.69, 0.15, 0.06],
};
const WHITE = [0.3127, 0.329] as const;

function invert(m: Matrix): number[] {
  const [a, b, c, d, e, f, g, h, i] = m as [number, number, number, number, number, number, number, number, number];
  const det = a * (e * i - f * h) - b * (d * i - f * g) + c * (d * h - e * g);
  return [e * i - f * h, c * h - b * i, b * f - c * e, f * g - d * i, a * i - c * g, c * d - a * f, d * h - e * g, b * g - a * h, a * e - b * d].map((v) => v / det);
}

function multiply(p: Matrix, q: Matrix): number[] {
  const out = new Array<number>(9).fill(0);
  for (let r = 0; r < 3; r++) for (let c = 0; c < 3; c++) for (let k = 0; k < 3; k++) out[r * 3 + c]! += p[r * 3 + k]! * q[k * 3 + c]!;
  return out;
}

/** Row-major matrix from linear RGB of these primaries to CIE XYZ with white Y = 1. */
export function rgbToXyz(primaries: PrimariesName): number[] {
  const [rx, ry, gx, gy, bx, by] = CHROMATICITIES[primaries];
  const columns = [rx / ry, gx / gy, bx / by, 1, 1, 1, (1 - rx - ry) / ry, (1 - gx - gy) / gy, (1 - bx - by) / by];
  const white = [WHITE[0] / WHITE[1], 1, (1 - WHITE[0] - WHITE[1]) / WHITE[1]];
  const inv = invert(columns);
  const s = [0, 1, 2].map((r) => inv[r * 3]! * white[0]! + inv[r * 3 + 1]! * white[1]! + inv[r * 3 + 2]! * white[2]!);
  return columns.map((v, i) => v * s[i % 3]!);
}

/** Row-major matrix from linear RGB of one set of primaries to another, null where nothing is to be done. */
export function primariesMatrix(from: PrimariesName, to: PrimariesName): number[] | null {
  return from === to ? null : multiply(invert(rgbToXyz(to)), rgbToXyz(from));
}
