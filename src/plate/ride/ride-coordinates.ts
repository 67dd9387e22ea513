/** Informations and pulls over the generators brought from one key's template coordinates to another's. */
import { IDENTITY3, multiply, tryInvert, type Mat3 } from '../../geometry/mat3.js';
import { generatorExp, generatorLog } from './ride-generators.js';

/**
 * 8 × 8: generators in the anchor's coordinates to generators in the key's, where key
 * coordinates = A · anchor coordinates.
 */
export function adjointTo(a: Mat3): Float64Array {
  const out = new Float64Array(64);
  const inverse = tryInvert(a) ?? IDENTITY3;
  const e = 1e-4;
  for (let k = 0; k < 8; k++) {
    const d = new Float64Array(8);
    d[k] = e;
    const l = generatorLog(multiply(multiply(a, generatorExp(d)), inverse));
    for (let r = 0; r < 8; r++) out[r * 8 + k] = l[r]! / e;
  }
  return out;
}

/** Tᵀ v, of an 8 × 8 matrix and 8 numbers. */
export function transposedTimes(t: Float64Array, v: Float64Array): Float64Array {
  const out = new Float64Array(8);
  for (let r = 0; r < 8; r++) for (let k = 0; k < 8; k++) out[r] = out[r]! + t[k * 8 + r]! * v[k]!;
  return out;
}

/** Tᵀ I T: an information (8 × 8) over the generators that T takes the new coordinates to. */
export function changeCoordinates(information: Float64Array, t: Float64Array): Float64Array {
  const half = new Float64Array(64);
  const out = new Float64Array(64);
  for (let r = 0; r < 8; r++)
    for (let c = 0; c < 8; c++)
      for (let k = 0; k < 8; k++) half[r * 8 + c] = half[r * 8 + c]! + information[r * 8 + k]! * t[k * 8 + c]!;
  for (let r = 0; r < 8; r++)
    for (let c = 0; c < 8; c++)
      for (let k = 0; k < 8; k++) out[r * 8 + c] = out[r * 8 + c]! + t[k * 8 + r]! * half[k * 8 + c]!;
  return out;
}
