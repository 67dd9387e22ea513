// The state of a zlib stream being written: bits not yet put out, histograms, code lengths and codes, by offset into
// one piece of scratch.

/** Literals, lengths and the end of a block (RFC 1951, 3.2.6), filled up to the fixed code's 288. */
export const SYMBOLS = 288;
/** The fields, by offset. The histogram is kept four times: a byte counts in the one of its place in a word of four. */
export const BUFFER: usize = 0, FILLED: usize = 8, OUT: usize = 12, COUNT: usize = 16;
/** Both halves of the Adler-32 check sum (RFC 1950). */
export const SUM_A: usize = 20, SUM_B: usize = 24;
/**
 * Where each table begins, bytes from the state's own start: counts, code lengths, codes, sort keys, work, levels, and
 * the stream itself.
 */
export const HISTOGRAM: usize = 32;
export const LENGTHS: usize = HISTOGRAM + 16 * SYMBOLS;
export const CODES: usize = LENGTHS + 2 * SYMBOLS;
export const KEYS: usize = CODES + 4 * 520;
export const WORK: usize = KEYS + 4 * SYMBOLS;
export const LEVELS: usize = WORK + 4 * SYMBOLS;
export const STREAM: usize = LEVELS + 256;

/** The lowest n bits of `bits` to the stream, least first (RFC 1951, 3.1.1). */
// @ts-ignore: decorator
@inline
export function put(s: usize, bits: u32, n: u32): void {
  const filled = load<u32>(s, FILLED), all = load<u64>(s, BUFFER) | (<u64>bits << filled);
  const now = filled + n, out = <usize>load<u32>(s, OUT);
  store<u64>(out, all);
  store<u32>(s, <u32>(out + (now >> 3)), OUT);
  store<u64>(s, all >> (now & ~7), BUFFER);
  store<u32>(s, now & 7, FILLED);
}

/** The i-th word at a. */
// @ts-ignore: decorator
@inline
export function at(a: usize, i: i32): u32 { return load<u32>(a + (<usize>i << 2)); }

// @ts-ignore: decorator
@inline
export function set(a: usize, i: i32, v: u32): void { store<u32>(a + (<usize>i << 2), v); }
