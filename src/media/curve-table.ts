/**
 * A transfer curve as a table with linear interpolation, for loops that can't afford a power per sample. 8192 steps a unit keep
 * the error below 1e-6 of full scale for camera curves (held by a test against the formulas); values outside the table's range
 * go through the formula.
 */
import { decodeLight, encodeLight } from './light-curves.js';
import type { TransferName } from './types.js';

export const TABLE_LOW = -1;
export const TABLE_HIGH = 2;
export const TABLE_STEPS_PER_UNIT = 8192;

const cache = new Map<TransferName, Float32Array>();

/** Linear values at TABLE_LOW + i / TABLE_STEPS_PER_UNIT; a pure function of its key, kept once made. */
export function linearTable(transfer: TransferName): Float32Array {
  let table = cache.get(transfer);
  if (table === undefined) {
    const n = (TABLE_HIGH - TABLE_LOW) * TABLE_STEPS_PER_UNIT;
    table = new Float32Array(n + 2);
    for (let i = 0; i < n + 2; i++) table[i] = decodeLight(TABLE_LOW + i / TABLE_STEPS_PER_UNIT, transfer);
    cache.set(transfer, table);
  }
  return table;
}

/** Linearises a run of coded values in place or into `dst`. */
export function linearise(src: Float32Array, dst: Float32Array, transfer: TransferName): void {
  const n = src.length;
  if (transfer === 'linear') {
    if (dst !== src) dst.set(src);
    return;
  }
  const table = linearTable(transfer);
  const top = (TABLE_HIGH - TABLE_LOW) * TABLE_STEPS_PER_UNIT;
  for (let i = 0; i < n; i++) {
    const t = (src[i]! - TABLE_LOW) * TABLE_STEPS_PER_UNIT;
    if (t >= 0 && t < top) {
      const k = t | 0;
      const a = table[k]!;
      dst[i] = a + (table[k + 1]! - a) * (t - k);
    } else dst[i] = decodeLight(src[i]!, transfer);
  }
}

/*
 * The way back is steep near black, so its table is spaced by the square root of the value: 8192 steps a unit over sqrt(l) in 0..2.
 */
const CODED_STEPS = 8192;
const CODED_TOP = 2;
const codedCache = new Map<TransferName, Float32Array>();

function codedTable(transfer: TransferName): Float32Array {
  let table = codedCache.get(transfer);
  if (table === undefined) {
    const n = CODED_TOP * CODED_STEPS;
    table = new Float32Array(n + 2);
    for (let i = 0; i < n + 2; i++) {
      const r = i / CODED_STEPS;
      table[i] = encodeLight(r * r, transfer);
    }
    codedCache.set(transfer, table);
  }
  return table;
}

/** Encodes a run of linear values in place or into `dst`. */
export function encode(src: Float32Array, dst: Float32Array, transfer: TransferName): void {
  const n = src.length;
  if (transfer === 'linear') {
    if (dst !== src) dst.set(src);
    return;
  }
  const table = codedTable(transfer);
  const negative = transfer === 'pq' ? 0 : -1;
  for (let i = 0; i < n; i++) {
    const v = src[i]!;
    const m = v < 0 ? -v : v;
    const t = Math.sqrt(m) * CODED_STEPS;
    let c: number;
    // Pure powers stand upright at zero, where no table holds them.
    if (t >= 16 && t < CODED_TOP * CODED_STEPS) {
      const k = t | 0;
      const a = table[k]!;
      c = a + (table[k + 1]! - a) * (t - k);
    } else c = encodeLight(m, transfer);
    dst[i] = v < 0 ? negative * c : c;
  }
}
