/**
 * RGB ↔ XYZ matrices from primaries and white (derivation of SMPTE RP 177), Y'CbCr coefficients (ITU-R BT.601, 709,
 * 2020). Matrices are row-major 3×3 in Float64Array; XYZ with Y of white = 1.
 */
export type Chromaticity = readonly [number, number];

/** CIE 15:2004 chromaticities, 2° observer. */
export const ILLUMINANTS = {
  A: [0.44758, 0.40745],
  C: [0.31006, 0.31616],
  D50: [0.3457, 0.3585],
  D55: [0.33243, 0.34744],
  D65: [0.3127, 0.329],
  D75: [0.29903, 0.31488],
  E: [1 / 3, 1 / 3],
} as const satisfies Record<string, Chromaticity>;

/** Chromaticities (CIE 1931 x, y) of the primaries and of white. */
export interface Primaries {
  readonly red: Chromaticity;
  readonly green: Chromaticity;
  readonly blue: Chromaticity;
  readonly white: Chromaticity;
}

/** Sets of primaries that are known by name. */
export type PrimariesName = 'bt709' | 'bt2020' | 'p3d65' | 'bt601-625' | 'bt601-525';

/** BT.709-6 table 1; BT.2020-2; SMPTE EG 432-1; BT.601-7 (625 and 525 lines, the latter SMPTE 170M). */
export const PRIMARIES: Record<PrimariesName, Primaries> = {
  bt709: { red: [0.64, 0.33], green: [0.3, 0.6], blue: [0.15, 0.06], white: ILLUMINANTS.D65 },
  bt2020: { red: [0.708, 0.292], green: [0.17, 0.797], blue: [0.131, 0.046], white: ILLUMINANTS.D65 },
  p3d65: { red: [0.68, 0.32], green: [0.265, 0.69], blue: [0.15, 0.06], white: ILLUMINANTS.D65 },
  'bt601-625': { red: [0.64, 0.33], green: [0.29, 0.6], blue: [0.15, 0.06], white: ILLUMINANTS.D65 },
  'bt601-525': { red: [0.63, 0.34], green: [0.31, 0.595], blue: [0.155, 0.07], white: ILLUMINANTS.D65 },
};

/** XYZ of a chromaticity at luminance Y. */
export function xyToXyz(xy: Chromaticity, Y = 1): [number, number, number] {
  return [(xy[0] / xy[1]) * Y, Y, ((1 - xy[0] - xy[1]) / xy[1]) * Y];
}

/** Chromaticity of XYZ; black gives the white point of D65, since it has none of its own. */
export function xyzToXy(x: number, y: number, z: number): [number, number] {
  const s = x + y + z;
  return s > 0 ? [x / s, y / s] : [...ILLUMINANTS.D65];
}

/** The product a · b of two 3 × 3 matrices, row by row. */
export function multiply3(a: ArrayLike<number>, b: ArrayLike<number>): Float64Array {
  const out = new Float64Array(9);
  for (let r = 0; r < 3; r++)
    for (let c = 0; c < 3; c++)
      out[3 * r + c] = a[3 * r]! * b[c]! + a[3 * r + 1]! * b[3 + c]! + a[3 * r + 2]! * b[6 + c]!;
  return out;
}

/** The inverse of a 3 × 3 matrix, row by row; not finite where it has none. */
export function invert3(m: ArrayLike<number>): Float64Array {
  const a = m[0]!;
  const b = m[1]!;
  const c = m[2]!;
  const d = m[3]!;
  const e = m[4]!;
  const f = m[5]!;
  const g = m[6]!;
  const h = m[7]!;
  const i = m[8]!;
  const A = e * i - f * h;
  const B = f * g - d * i;
  const C = d * h - e * g;
  const k = 1 / (a * A + b * B + c * C);
  return Float64Array.of(
    A * k,
    (c * h - b * i) * k,
    (b * f - c * e) * k,
    B * k,
    (a * i - c * g) * k,
    (c * d - a * f) * k,
    C * k,
    (b * g - a * h) * k,
    (a * e - b * d) * k,
  );
}

/** The 3 × 3 matrix m times the column (x, y, z). */
export function apply3(m: ArrayLike<number>, x: number, y: number, z: number): [number, number, number] {
  return [m[0]! * x + m[1]! * y + m[2]! * z, m[3]! * x + m[4]! * y + m[5]! * z, m[6]! * x + m[7]! * y + m[8]! * z];
}

/** Linear RGB → XYZ: columns are the primaries' XYZ, scaled so that RGB (1, 1, 1) is white. */
export function rgbToXyz(primaries: Primaries): Float64Array {
  const r = xyToXyz(primaries.red);
  const g = xyToXyz(primaries.green);
  const b = xyToXyz(primaries.blue);
  const w = xyToXyz(primaries.white);
  const p = Float64Array.of(r[0], g[0], b[0], r[1], g[1], b[1], r[2], g[2], b[2]);
  const s = apply3(invert3(p), w[0], w[1], w[2]);
  for (let row = 0; row < 3; row++) for (let c = 0; c < 3; c++) p[3 * row + c] = p[3 * row + c]! * s[c]!;
  return p;
}

/** XYZ → linear RGB: the inverse of {@link rgbToXyz}. */
export function xyzToRgb(primaries: Primaries): Float64Array {
  return invert3(rgbToXyz(primaries));
}

/** Linear RGB of one set of primaries → another of the same white. */
export function rgbToRgb(from: Primaries, to: Primaries): Float64Array {
  return multiply3(xyzToRgb(to), rgbToXyz(from));
}

/** Matrices between R'G'B' and Y'CbCr that are known by name. */
export type YcbcrName = 'bt601' | 'bt709' | 'bt2020';

/** Kr and Kb of the luma equation. */
export const LUMA_COEFFICIENTS: Record<YcbcrName, { readonly kr: number; readonly kb: number }> = {
  bt601: { kr: 0.299, kb: 0.114 },
  bt709: { kr: 0.2126, kb: 0.0722 },
  bt2020: { kr: 0.2627, kb: 0.0593 },
};

/** Applies a 3×3 matrix to three planes (the alpha plane, if any, stays). `dst` planes may be the sources. */
export function matrixPlanes(
  m: ArrayLike<number>,
  r: Float32Array,
  g: Float32Array,
  b: Float32Array,
  dr = r,
  dg = g,
  db = b,
): void {
  const [m0, m1, m2, m3, m4, m5, m6, m7, m8] = [m[0]!, m[1]!, m[2]!, m[3]!, m[4]!, m[5]!, m[6]!, m[7]!, m[8]!];
  for (let i = 0; i < r.length; i++) {
    const x = r[i]!;
    const y = g[i]!;
    const z = b[i]!;
    dr[i] = m0 * x + m1 * y + m2 * z;
    dg[i] = m3 * x + m4 * y + m5 * z;
    db[i] = m6 * x + m7 * y + m8 * z;
  }
}
