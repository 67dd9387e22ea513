/** IEEE 754 binary16 to binary32, as OpenEXR stores light; a table of all 65536 values. */
let table: Float32Array | null = null;

/** Value of one half float given as its bits. */
function halfToFloat(bits: number): number {
  const sign = bits & 0x8000 ? -1 : 1;
  const exponent = (bits >> 10) & 31;
  const fraction = bits & 1023;
  if (exponent === 0) return sign * fraction * 2 ** -24;
  if (exponent === 31) return fraction === 0 ? sign * Infinity : NaN;
  return sign * (1 + fraction / 1024) * 2 ** (exponent - 15);
}

/** Widens a run of half floats. */
export function widenHalves(src: Uint16Array, dst: Float32Array): Float32Array {
  // A pure function's table: made once, never changed.
  table ??= Float32Array.from({ length: 65536 }, (_, i) => halfToFloat(i));
  const t = table;
  for (let i = 0; i < src.length; i++) dst[i] = t[src[i]!]!;
  return dst;
}
