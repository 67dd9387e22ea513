// Rows of bytes between runs of nothing to one zlib stream (RFC 1950, 1951): literals, and runs of zeros as
// matches of distance 1, under a Huffman code anew every 65536 tokens. Held by reading it back with zlib
// (deflate-rows.test.ts).
import { MODULUS, sumBytes, sumZeros } from './adler';
import {
  BUFFER, CODES, COUNT, FILLED, HISTOGRAM, OUT, STREAM, SUM_A, SUM_B, SYMBOLS, at, put, set,
} from './deflate-state';
import { codeLengths, codeTable, lengthCode, putHead } from './huffman';

const TOKENS = 65536;

/** Writes the tokens gathered and begins anew. */
function flush(s: usize, last: u32): void {
  const n = load<i32>(s, COUNT), codes = s + CODES, tokens = s + STREAM;
  set(s + HISTOGRAM, 256, 1);
  putHead(s, last, codeLengths(s));
  codeTable(s);
  let out = <usize>load<u32>(s, OUT), filled = load<u32>(s, FILLED), buffer = load<u64>(s, BUFFER);
  let i = 0;
  // Two tokens of 21 bits at most beside seven that are left.
  for (; i + 2 <= n; i += 2) {
    const two = load<u32>(tokens + (<usize>i << 1));
    const a = at(codes, two & 0xffff), b = at(codes, two >> 16);
    buffer |= <u64>(a & 0x3ffffff) << filled;
    filled += a >> 26;
    buffer |= <u64>(b & 0x3ffffff) << filled;
    filled += b >> 26;
    store<u64>(out, buffer);
    out += filled >> 3;
    buffer >>= filled & ~7;
    filled &= 7;
  }
  store<u32>(s, <u32>out, OUT);
  store<u32>(s, filled, FILLED);
  store<u64>(s, buffer, BUFFER);
  for (; i <= n; i++) {
    const a = at(codes, i == n ? 256 : <i32>load<u16>(tokens + (<usize>i << 1)));
    put(s, a & 0x3ffffff, a >> 26);
  }
  store<i32>(s, 0, COUNT);
  memory.fill(s + HISTOGRAM, 0, 16 * SYMBOLS);
}

/** One token; `symbol` is what the histogram counts it as. */
// @ts-ignore: decorator
@inline
function token(s: usize, t: i32, symbol: i32): void {
  let n = load<i32>(s, COUNT);
  if (n == TOKENS) { flush(s, 0); n = 0; }
  store<u16>(s + STREAM + (<usize>n << 1), <u16>t);
  store<i32>(s, n + 1, COUNT);
  set(s + HISTOGRAM, symbol, at(s + HISTOGRAM, symbol) + 1);
}

/** n zeros. */
function zeros(s: usize, n: i32): void {
  if (n <= 0) return;
  token(s, 0, 0);
  for (n--; n >= 258; n -= 258) token(s, 256 + 258, 285);
  if (n >= 3) token(s, 256 + n, lengthCode(n));
  else for (; n > 0; n--) token(s, 0, 0);
}

/** The bytes p to p + n after `run` zeros. Returns how many zeros they end with that were not yet told. */
function bytes(s: usize, p: usize, n: i32, run: i32): i32 {
  const h = s + HISTOGRAM, none = i8x16.splat(0);
  let i = 0;
  while (i + 16 <= n) {
    const v = v128.load(p + <usize>i), zero = i8x16.bitmask(i8x16.eq(v, none));
    if (zero == 0xffff) { run += 16; i += 16; continue; }
    if (run > 0) {
      const more = ctz(~zero);
      zeros(s, run + more);
      run = 0;
      i += more;
      continue;
    }
    const runs = zero & (zero >> 1) & (zero >> 2) & (zero >> 3);
    let k = load<i32>(s, COUNT);
    if (k + 16 > TOKENS) { flush(s, 0); k = 0; }
    const t = s + STREAM + (<usize>k << 1);
    v128.store(t, i16x8.extend_low_i8x16_u(v));
    v128.store(t, i16x8.extend_high_i8x16_u(v), 16);
    // Up to the first run of four.
    const take = runs == 0 ? 16 : ctz(runs);
    store<i32>(s, k + take, COUNT);
    if (take == 16) {
      for (let j = 0; j < 16; j += 4) {
        const w = load<u32>(p + <usize>(i + j));
        set(h, w & 255, at(h, w & 255) + 1);
        set(h + 4 * SYMBOLS, (w >> 8) & 255, at(h + 4 * SYMBOLS, (w >> 8) & 255) + 1);
        set(h + 8 * SYMBOLS, (w >> 16) & 255, at(h + 8 * SYMBOLS, (w >> 16) & 255) + 1);
        set(h + 12 * SYMBOLS, w >> 24, at(h + 12 * SYMBOLS, w >> 24) + 1);
      }
    } else for (let j = 0; j < take; j++) {
      const b = load<u8>(p + <usize>(i + j));
      set(h, b, at(h, b) + 1);
    }
    i += take;
    if (take < 16) { run = ctz(~(zero >> take)); i += run; }
  }
  for (; i < n; i++) {
    const b = load<u8>(p + <usize>i);
    if (b == 0) { run++; continue; }
    zeros(s, run);
    run = 0;
    token(s, b, b);
  }
  return run;
}

/**
 * `before` zeros, then `rows` rows of a byte 1 (the filter), `lead` zeros, n bytes of src (stride
 * apart) and `tail` zeros, then `after` zeros, to `out`; their length to `total` (u32). Scratch:
 * 160 kB (STREAM and two bytes a token). Items: one.
 */
export function deflateRows(
  src: usize, stride: i32, n: i32, rows: i32, lead: i32, tail: i32, before: i32, after: i32, out: usize, total: usize,
  from: i32, to: i32, scratch: usize,
): void {
  const s = (scratch + 15) & ~15;
  memory.fill(s, 0, STREAM);
  // 32 kB of window, the fastest way.
  store<u16>(out, 0x0178);
  store<u32>(s, <u32>(out + 2), OUT);
  store<u32>(s, 1, SUM_A);
  sumZeros(s, before);
  let run = before;
  for (let y = 0; y < rows; y++) {
    zeros(s, run);
    token(s, 1, 1);
    const p = src + <usize>y * <usize>stride;
    store<u32>(s, (load<u32>(s, SUM_A) + 1) % <u32>MODULUS, SUM_A);
    sumZeros(s, 1 + <u64>lead);
    sumBytes(s, p, n);
    sumZeros(s, tail);
    run = bytes(s, p, n, lead) + tail;
  }
  zeros(s, run + after);
  sumZeros(s, after);
  flush(s, 1);
  put(s, 0, (8 - load<u32>(s, FILLED)) & 7);
  const end = <usize>load<u32>(s, OUT);
  store<u32>(end, bswap((load<u32>(s, SUM_B) << 16) | load<u32>(s, SUM_A)));
  store<u32>(total, <u32>(end + 4 - out));
}
