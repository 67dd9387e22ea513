/**
 * A transfer curve as a table with linear interpolation, for loops that can't afford a power per sample. Decoding: 2048
 * knots a unit over coded -2..3, which no Y'CbCr code leaves. Encoding is steep near black, so its knots stand at even
 * steps of the square root of the light, 2048 a unit up to light 64 (beyond it is held there). Error below 1e-6 of full
 * scale but for the foot of the pure powers; held by a test against the formulas.
 */
import { KERNEL_FROM_PIXELS, kernels } from '../image/kernels.js';
import { decodeLight, encodeLight } from './light-curves.js';
import type { TransferName } from './types.js';

export interface CurveTable {
  /** Values at the knots, of which the first stands at `lo` and `steps` stand to a unit. */
  readonly knots: Float32Array;
  readonly lo: number;
  readonly steps: number;
  /** Highest knot; one more value stands after it. */
  readonly count: number;
  /** The knots stand at even steps of the input's square root. */
  readonly root: boolean;
  /** Negative values mirror positive ones; PQ has none. */
  readonly odd: boolean;
}

const STEPS = 2048;
const DECODE_LO = -2;
const DECODE_HI = 3;
const ENCODE_ROOT = 8;

// Pure functions of their key, kept once made.
const decoding = new Map<TransferName, CurveTable>();
const encoding = new Map<TransferName, CurveTable>();

/** Coded to light. */
export function decodeTable(transfer: TransferName): CurveTable {
  let table = decoding.get(transfer);
  if (table === undefined) {
    const count = (DECODE_HI - DECODE_LO) * STEPS;
    const knots = Float32Array.from({ length: count + 2 }, (_, i) => decodeLight(DECODE_LO + i / STEPS, transfer));
    decoding.set(transfer, (table = { knots, lo: DECODE_LO, steps: STEPS, count, root: false, odd: true }));
  }
  return table;
}

/** Light to coded. */
export function encodeTable(transfer: TransferName): CurveTable {
  let table = encoding.get(transfer);
  if (table === undefined) {
    const count = ENCODE_ROOT * STEPS;
    const knots = Float32Array.from({ length: count + 2 }, (_, i) => encodeLight((i / STEPS) ** 2, transfer));
    encoding.set(transfer, (table = { knots, lo: 0, steps: STEPS, count, root: true, odd: transfer !== 'pq' }));
  }
  return table;
}

function lookUp(src: Float32Array, dst: Float32Array, table: CurveTable): void {
  if (src.length < KERNEL_FROM_PIXELS) {
    lookUpPlain(src, dst, table);
    return;
  }
  const door = kernels();
  const scope = door.scope();
  try {
    door.run(
      'curveByTable',
      [
        scope.input(src),
        scope.output(dst),
        src.length,
        scope.input(table.knots),
        table.lo,
        table.steps,
        table.count,
        table.root ? 1 : 0,
        table.odd ? 1 : 0,
      ],
      Math.ceil(src.length / 1024),
      2048,
    );
    scope.finish();
  } finally {
    scope.close();
  }
}

/** Plain twin of the kernel. */
export function lookUpPlain(src: Float32Array, dst: Float32Array, table: CurveTable): void {
  const { knots, lo, steps, count, root, odd } = table;
  for (let i = 0; i < src.length; i++) {
    const v = src[i]!;
    let t = root ? Math.sqrt(v < 0 ? -v : v) * steps : (v - lo) * steps;
    if (!(t > 0)) t = 0;
    if (t > count) t = count;
    const k = t | 0;
    const a = knots[k]!;
    const r = a + (knots[k + 1]! - a) * (t - k);
    dst[i] = root && v < 0 ? (odd ? -r : 0) : r;
  }
}

/** Linearises a run of coded values into `dst`, which may be `src`. */
export function linearise(src: Float32Array, dst: Float32Array, transfer: TransferName): void {
  if (transfer !== 'linear') lookUp(src, dst, decodeTable(transfer));
  else if (dst !== src) dst.set(src);
}

/** Encodes a run of linear values into `dst`, which may be `src`. */
export function encode(src: Float32Array, dst: Float32Array, transfer: TransferName): void {
  if (transfer !== 'linear') lookUp(src, dst, encodeTable(transfer));
  else if (dst !== src) dst.set(src);
}
