/** A curve of gains (natural logarithms) over the coded value: piecewise linear between knots, constant beyond them. */

/** Knots of a curve, and the coded values of the first and the last. */
export const KNOTS = 6;
const FIRST = 0.08;
const LAST = 0.92;
/** Steps of the tables, over coded values from 0 to 2. */
const STEPS = 1024;
const MOST = 2;

/** The knot below a coded value and how far it is to the next, 0..1. */
export function kneesAt(value: number): readonly [number, number] {
  const x = Math.min(KNOTS - 1, Math.max(0, ((value - FIRST) / (LAST - FIRST)) * (KNOTS - 1)));
  const q = Math.min(KNOTS - 2, Math.floor(x));
  return [q, x - q];
}

/** Multiplies values in place by the curve's gain at each of them. */
export function throughCurve(values: Float32Array, tone: readonly number[]): void {
  interpolate(values, carried(tone));
}

/** Undoes {@link throughCurve}, in place. */
export function backThroughCurve(values: Float32Array, tone: readonly number[]): void {
  const to = carried(tone);
  const from = new Float64Array(STEPS + 1);
  for (let k = 0, q = 0; k <= STEPS; k++) {
    const value = (MOST * k) / STEPS;
    while (q < STEPS - 1 && to[q + 1]! < value) q++;
    const rise = to[q + 1]! - to[q]!;
    from[k] = (MOST / STEPS) * (q + (rise > 0 ? (value - to[q]!) / rise : 0));
  }
  interpolate(values, from);
}

/** What each step's value becomes; rising. */
function carried(tone: readonly number[]): Float64Array {
  const out = new Float64Array(STEPS + 1);
  for (let k = 0; k <= STEPS; k++) {
    const value = (MOST * k) / STEPS;
    const [q, t] = kneesAt(value);
    out[k] = value * Math.exp((1 - t) * tone[q]! + t * tone[q + 1]!);
    if (k > 0) out[k] = Math.max(out[k]!, out[k - 1]!);
  }
  return out;
}

function interpolate(values: Float32Array, table: Float64Array): void {
  const scale = STEPS / MOST;
  for (let i = 0; i < values.length; i++) {
    const x = values[i]! * scale;
    const q = Math.min(STEPS - 1, Math.max(0, Math.floor(x)));
    values[i] = table[q]! + (x - q) * (table[q + 1]! - table[q]!);
  }
}
