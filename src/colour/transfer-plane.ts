/**
 * Transfer curves over whole planes. The toe-and-power curves run in a kernel that computes the power itself
 * (relative error below 3e-6); PQ, HLG and the plain twins go through tables. Decoding goes through a table of
 * 4097 knots with linear interpolation over coded −0.25..1.25 (below 0 and above 1 footroom and headroom
 * survive). Encoding: a table over the cube root of the light, where all these curves are nearly straight. Values
 * beyond the tables are computed one by one. Both hold 2e-5 of the exact curve for the toe-and-power curves; PQ
 * is always computed exactly in encoding. Checked by test.
 */
import { planeOr } from '../image/boundary.js';
import { KERNEL_FROM_PIXELS, kernels } from '../image/kernels.js';
import { decodeTransfer, encodeTransfer, type TransferName } from './transfer.js';

const DECODE_LO = -0.25;
const DECODE_HI = 1.25;
const DECODE_STEPS = 12288;
const ENCODE_STEPS = 8192;
/** Largest light the encoding table covers; cube-root spacing. */
const ENCODE_MAX = 2;

/** A transfer curve's samples for the kernels. */
export interface TransferTable {
  readonly name: TransferName;
  /** Samples of the decoding curve at coded = DECODE_LO + i / steps · 1.5. */
  readonly decode: Float32Array;
  /** Samples of the encoding curve at light = ENCODE_MAX · (i / ENCODE_STEPS)³. */
  readonly encode: Float32Array;
}

/** Builds the tables of a curve; build once a clip and hand it on. */
export function transferTable(name: TransferName): TransferTable {
  const decode = new Float32Array(DECODE_STEPS + 2);
  for (let i = 0; i < decode.length; i++)
    decode[i] = decodeTransfer(name, DECODE_LO + (i * (DECODE_HI - DECODE_LO)) / DECODE_STEPS);
  const encode = new Float32Array(ENCODE_STEPS + 2);
  for (let i = 0; i < encode.length; i++) encode[i] = encodeTransfer(name, ENCODE_MAX * (i / ENCODE_STEPS) ** 3);
  return { name, decode, encode };
}

/** Plain twin of {@link decodePlane}. */
export function decodePlanePlain(src: Float32Array, table: TransferTable, dst?: Float32Array): Float32Array {
  const out = planeOr(dst, src.length, 'transfer decoding');
  if (table.name === 'linear') {
    if (out !== src) out.set(src);
    return out;
  }
  const t = table.decode;
  const k = DECODE_STEPS / (DECODE_HI - DECODE_LO);
  for (let i = 0; i < src.length; i++) {
    const v = src[i]!;
    const at = (v - DECODE_LO) * k;
    if (at >= 0 && at < DECODE_STEPS) {
      const j = at | 0;
      const a = t[j]!;
      out[i] = a + (at - j) * (t[j + 1]! - a);
    } else out[i] = decodeTransfer(table.name, v);
  }
  return out;
}

/** Plain twin of {@link encodePlane}. */
export function encodePlanePlain(src: Float32Array, table: TransferTable, dst?: Float32Array): Float32Array {
  const out = planeOr(dst, src.length, 'transfer encoding');
  const { name, encode: t } = table;
  if (name === 'linear') {
    if (out !== src) out.set(src);
    return out;
  }
  if (name === 'pq') {
    for (let i = 0; i < src.length; i++) out[i] = encodeTransfer(name, src[i]!);
    return out;
  }
  for (let i = 0; i < src.length; i++) {
    const v = src[i]!;
    const a = v < 0 ? -v : v;
    if (a < ENCODE_MAX) {
      const at = Math.cbrt(a * (1 / ENCODE_MAX)) * ENCODE_STEPS;
      const j = at | 0;
      const lo = t[j]!;
      const r = lo + (at - j) * (t[j + 1]! - lo);
      out[i] = v < 0 ? -r : r;
    } else out[i] = encodeTransfer(name, v);
  }
  return out;
}

/** A toe-and-power curve as the kernel takes it: [cut, slope, offsetIn, scaleIn, gamma, scaleOut, offsetOut]. */
type PowerForm = readonly [number, number, number, number, number, number, number];

const DECODE_FORM: Partial<Record<TransferName, PowerForm>> = {
  bt709: [0.081, 1 / 4.5, 0.099, 1 / 1.099, 1 / 0.45, 1, 0],
  // ≤ in the standard, < in the kernel: the two branches meet there to 1e-8.
  srgb: [0.04045, 1 / 12.92, 0.055, 1 / 1.055, 2.4, 1, 0],
  bt1886: [0, 0, 0, 1, 2.4, 1, 0],
  gamma22: [0, 0, 0, 1, 2.2, 1, 0],
  gamma28: [0, 0, 0, 1, 2.8, 1, 0],
};

const ENCODE_FORM: Partial<Record<TransferName, PowerForm>> = {
  bt709: [0.018, 4.5, 0, 1, 0.45, 1.099, -0.099],
  srgb: [0.0031308, 12.92, 0, 1, 1 / 2.4, 1.055, -0.055],
  bt1886: [0, 0, 0, 1, 1 / 2.4, 1, 0],
  gamma22: [0, 0, 0, 1, 1 / 2.2, 1, 0],
  gamma28: [0, 0, 0, 1, 1 / 2.8, 1, 0],
};

function byKernel(src: Float32Array, form: PowerForm, out: Float32Array): Float32Array {
  const door = kernels();
  const scope = door.scope();
  try {
    door.run(
      'powerCurve',
      [scope.input(src), scope.output(out), src.length, ...form],
      Math.ceil(src.length / 1024),
      4096,
    );
    scope.finish();
  } finally {
    scope.close();
  }
  return out;
}

/** Coded → linear for every value of a plane (or of several planes in one array); `dst` may be `src`. */
export function decodePlane(src: Float32Array, table: TransferTable, dst?: Float32Array): Float32Array {
  const form = DECODE_FORM[table.name];
  if (form === undefined || src.length < KERNEL_FROM_PIXELS) return decodePlanePlain(src, table, dst);
  return byKernel(src, form, planeOr(dst, src.length, 'transfer decoding'));
}

/** Linear → coded for every value; `dst` may be `src`. */
export function encodePlane(src: Float32Array, table: TransferTable, dst?: Float32Array): Float32Array {
  const form = ENCODE_FORM[table.name];
  if (form === undefined || src.length < KERNEL_FROM_PIXELS) return encodePlanePlain(src, table, dst);
  return byKernel(src, form, planeOr(dst, src.length, 'transfer encoding'));
}
