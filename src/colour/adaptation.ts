/**
 * Chromatic adaptation by the Bradford transform (K. M. Lam, thesis, Bradford 1985; ICC.1:2010 annex E): scale
 * cone-like responses by the ratio of the whites.
 */
import { apply3, invert3, multiply3, xyToXyz, type Chromaticity } from './matrices.js';

export const BRADFORD = Float64Array.of(0.8951, 0.2664, -0.1614, -0.7502, 1.7135, 0.0367, 0.0389, -0.0685, 1.0296);

/** XYZ → XYZ matrix that carries white `from` to white `to` (XYZ of the whites, Y = 1). */
export function bradfordFromXyz(from: ArrayLike<number>, to: ArrayLike<number>): Float64Array {
  const a = apply3(BRADFORD, from[0]!, from[1]!, from[2]!);
  const b = apply3(BRADFORD, to[0]!, to[1]!, to[2]!);
  const scale = Float64Array.of(b[0] / a[0], 0, 0, 0, b[1] / a[1], 0, 0, 0, b[2] / a[2]);
  return multiply3(invert3(BRADFORD), multiply3(scale, BRADFORD));
}

/** The same from chromaticities. */
export function bradford(from: Chromaticity, to: Chromaticity): Float64Array {
  return bradfordFromXyz(xyToXyz(from), xyToXyz(to));
}
