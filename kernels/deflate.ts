// Rows of bytes between runs of nothing to one zlib stream (RFC 1950, 1951): literals, and runs of zeros as
// matches of distance 1, under a Huffman code anew every 65536 tokens. Code lengths by Moffat & Katajainen,
// In-place calculation of minimum-redundancy codes, WADS, 1995, held to 15 bits by moving leaves down. Held by
// reading it back with zlib (deflate-rows.test.ts).

const TOKENS = 65536, SYMBOLS = 288, BITS = 15;
/** The state's fields and tables, by offset. */
const BUFFER: usize = 0, FILLED: usize = 8, OUT: usize = 12, COUNT: usize = 16, SUM_A: usize = 20, SUM_B: usize = 24;
const HISTOGRAM: usize = 32;
const LENGTHS: usize = HISTOGRAM + 16 * SYMBOLS;
const CODES: usize = LENGTHS + 2 * SYMBOLS;
const KEYS: usize = CODES + 4 * 520;
const WORK: usize = KEYS + 4 * SYMBOLS;
const LEVELS: usize = WORK + 4 * SYMBOLS;
const STREAM: usize = LEVELS + 256;

const MODULUS: u64 = 65521;

/** The code of a run's length, 3 to 258: RFC 1951, 3.2.5. */
function lengthCode(length: i32): i32 {
  if (length == 258) return 285;
  if (length < 11) return 254 + length;
  const l = length - 3, extra = 29 - clz(l);
  return 257 + (extra << 2) + (l >> extra);
}

// @ts-ignore: decorator
@inline
function put(s: usize, bits: u32, n: u32): void {
  const filled = load<u32>(s, FILLED), all = load<u64>(s, BUFFER) | (<u64>bits << filled);
  const now = filled + n, out = <usize>load<u32>(s, OUT);
  store<u64>(out, all);
  store<u32>(s, <u32>(out + (now >> 3)), OUT);
  store<u64>(s, all >> (now & ~7), BUFFER);
  store<u32>(s, now & 7, FILLED);
}

/** Sorts n words, least first (Shell). */
function sort(a: usize, n: i32): void {
  for (let gap = 121; gap > 0; gap = gap / 3) {
    for (let i = gap; i < n; i++) {
      const v = load<u32>(a + (<usize>i << 2));
      let j = i - gap;
      while (j >= 0 && load<u32>(a + (<usize>j << 2)) > v) {
        store<u32>(a + (<usize>(j + gap) << 2), load<u32>(a + (<usize>j << 2)));
        j -= gap;
      }
      store<u32>(a + (<usize>(j + gap) << 2), v);
    }
  }
}

// @ts-ignore: decorator
@inline
function at(a: usize, i: i32): u32 { return load<u32>(a + (<usize>i << 2)); }
// @ts-ignore: decorator
@inline
function set(a: usize, i: i32, v: u32): void { store<u32>(a + (<usize>i << 2), v); }

/** Sorted weights to code lengths, in place; two or more. */
function minimumRedundancy(a: usize, n: i32): void {
  set(a, 0, at(a, 0) + at(a, 1));
  let root = 0, leaf = 2;
  for (let next = 1; next < n - 1; next++) {
    let sum: u32;
    if (leaf >= n || at(a, root) < at(a, leaf)) {
      sum = at(a, root);
      set(a, root++, <u32>next);
    } else sum = at(a, leaf++);
    if (leaf >= n || (root < next && at(a, root) < at(a, leaf))) {
      sum += at(a, root);
      set(a, root++, <u32>next);
    } else sum += at(a, leaf++);
    set(a, next, sum);
  }
  set(a, n - 2, 0);
  for (let next = n - 3; next >= 0; next--) set(a, next, at(a, <i32>at(a, next)) + 1);
  let free = 1, used = 0, depth: u32 = 0;
  root = n - 2;
  let next = n - 1;
  while (free > 0) {
    while (root >= 0 && at(a, root) == depth) { used++; root--; }
    while (free > used) { set(a, next--, depth); free--; }
    free = 2 * used;
    depth++;
    used = 0;
  }
}

/** Lengths of the literal and length codes from the histogram. Returns one past the highest symbol used. */
function codeLengths(s: usize): i32 {
  const h = s + HISTOGRAM, keys = s + KEYS, work = s + WORK, levels = s + LEVELS, lengths = s + LENGTHS;
  let n = 0, highest = 256;
  memory.fill(lengths, 0, SYMBOLS);
  for (let k = 0; k < SYMBOLS; k++) {
    const f = at(h, k) + at(h, SYMBOLS + k) + at(h, 2 * SYMBOLS + k) + at(h, 3 * SYMBOLS + k);
    if (f == 0) continue;
    set(keys, n++, (f << 9) | <u32>k);
    highest = max(highest, k);
  }
  // The end of the block alone: a code of two keeps every reader content.
  if (n == 1) set(keys, n++, 1 << 9);
  sort(keys, n);
  for (let i = 0; i < n; i++) set(work, i, at(keys, i) >> 9);
  minimumRedundancy(work, n);
  memory.fill(levels, 0, 4 * (BITS + 1));
  let over: i32 = 0;
  for (let i = 0; i < n; i++) {
    const l = min(at(work, i), <u32>BITS);
    set(levels, l, at(levels, l) + 1);
    over += 1 << (BITS - l);
  }
  // More leaves than the longest codes have room for: a leaf above makes room for one below.
  while (over > 1 << BITS) {
    let l = BITS - 1;
    while (at(levels, l) == 0) l--;
    set(levels, l, at(levels, l) - 1);
    set(levels, l + 1, at(levels, l + 1) + 2);
    set(levels, BITS, at(levels, BITS) - 1);
    over--;
  }
  let i = 0;
  for (let l = BITS; l > 0; l--)
    for (let k = at(levels, l); k > 0; k--) store<u8>(lengths + <usize>(at(keys, i++) & 511), <u8>l);
  return highest + 1;
}

/**
 * Codes of symbols from their lengths, and of every token: a literal, or 256 more than
 * a run's length with its distance.
 */
function codeTable(s: usize): void {
  const lengths = s + LENGTHS, codes = s + CODES, levels = s + LEVELS, work = s + WORK;
  let code: u32 = 0;
  set(levels, 0, 0);
  for (let l = 1; l <= BITS; l++) {
    code = (code + (l == 1 ? 0 : at(levels, l - 1))) << 1;
    set(levels, 16 + l, code);
  }
  for (let k = 0; k < SYMBOLS; k++) {
    const l = <i32>load<u8>(lengths + <usize>k);
    if (l == 0) { set(work, k, 0); continue; }
    let c = at(levels, 16 + l);
    set(levels, 16 + l, c + 1);
    let turned: u32 = 0;
    for (let b = 0; b < l; b++) { turned = (turned << 1) | (c & 1); c >>= 1; }
    set(work, k, turned | (<u32>l << 26));
  }
  for (let k = 0; k < 257; k++) set(codes, k, at(work, k));
  for (let run = 3; run <= 258; run++) {
    const c = lengthCode(run), e = at(work, c), extra = run == 258 || run < 11 ? 0 : 29 - clz(run - 3), l = e >> 26;
    // Distance 1 is the code 0 of one bit.
    set(codes, 256 + run, (e & 0x3ffffff) | (<u32>((run - 3) & ((1 << extra) - 1)) << l) | ((l + extra + 1) << 26));
  }
}

/** Bits of a symbol of code lengths: 5 for the six least likely, 4 for the rest, which fills the code. */
// @ts-ignore: decorator
@inline
function ofLengths(k: i32): i32 { return (k >= 1 && k <= 4) || k == 14 || k == 15 ? 5 : 4; }

/** One symbol of code lengths. */
function putLength(s: usize, k: i32): void {
  let before = 0;
  const l = ofLengths(k);
  for (let i = 0; i < k; i++) if (ofLengths(i) == l) before++;
  let c = l == 4 ? before : 26 + before, turned = 0;
  for (let b = 0; b < l; b++) { turned = (turned << 1) | (c & 1); c >>= 1; }
  put(s, turned, l);
}

/** The block's head: RFC 1951, 3.2.7. */
function putHead(s: usize, last: u32, symbols: i32): void {
  put(s, last | 4, 3);
  put(s, <u32>(symbols - 257) | (1 << 5) | (15 << 10), 14);
  // In the order 16 17 18 0 8 7 9 6 10 5 11 4 12 3 13 2 14 1 15.
  for (let i = 0; i < 19; i++) {
    const k = i < 3 ? 16 + i : i == 3 ? 0 : (i & 1) == 0 ? 8 + ((i - 4) >> 1) : 7 - ((i - 5) >> 1);
    put(s, ofLengths(k), 3);
  }
  // Two codes of distance of one bit each: a complete code.
  const lengths = s + LENGTHS;
  store<u8>(lengths + <usize>symbols, 1);
  store<u8>(lengths + <usize>symbols, 1, 1);
  const all = symbols + 2;
  for (let k = 0; k < all;) {
    const l = <i32>load<u8>(lengths + <usize>k);
    let run = 1;
    if (l == 0) while (k + run < all && run < 138 && load<u8>(lengths + <usize>(k + run)) == 0) run++;
    if (run >= 11) { putLength(s, 18); put(s, run - 11, 7); }
    else if (run >= 3) { putLength(s, 17); put(s, run - 3, 3); }
    else { run = 1; putLength(s, l); }
    k += run;
  }
}

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

/** Adler-32 of n zeros more. */
// @ts-ignore: decorator
@inline
function sumZeros(s: usize, n: u64): void {
  store<u32>(s, <u32>((<u64>load<u32>(s, SUM_B) + n % MODULUS * <u64>load<u32>(s, SUM_A)) % MODULUS), SUM_B);
}

/** Adler-32 of n bytes more. */
function sumBytes(s: usize, p: usize, n: i32): void {
  let a = <u64>load<u32>(s, SUM_A), b = <u64>load<u32>(s, SUM_B);
  const high = i16x8(16, 15, 14, 13, 12, 11, 10, 9), low = i16x8(8, 7, 6, 5, 4, 3, 2, 1);
  let i = 0;
  while (i + 16 <= n) {
    // So short that no lane overflows.
    const end = min(n, i + 2048), start = i;
    let sum = i32x4.splat(0), sums = i32x4.splat(0), weighed = i32x4.splat(0);
    for (; i + 16 <= end; i += 16) {
      const v = v128.load(p + <usize>i), x = i16x8.extend_low_i8x16_u(v), y = i16x8.extend_high_i8x16_u(v);
      sums = i32x4.add(sums, sum);
      sum = i32x4.add(sum, i32x4.extadd_pairwise_i16x8_u(i16x8.extadd_pairwise_i8x16_u(v)));
      weighed = i32x4.add(weighed, i32x4.add(i32x4.dot_i16x8_s(x, high), i32x4.dot_i16x8_s(y, low)));
    }
    b += <u64>(i - start) * a + 16 * across(sums) + across(weighed);
    a += across(sum);
    a %= MODULUS;
    b %= MODULUS;
  }
  for (; i < n; i++) {
    a += <u64>load<u8>(p + <usize>i);
    b += a;
  }
  store<u32>(s, <u32>(a % MODULUS), SUM_A);
  store<u32>(s, <u32>(b % MODULUS), SUM_B);
}

// @ts-ignore: decorator
@inline
function across(v: v128): u64 {
  return <u64>i32x4.extract_lane(v, 0) + <u64>i32x4.extract_lane(v, 1) + <u64>i32x4.extract_lane(v, 2)
    + <u64>i32x4.extract_lane(v, 3);
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
