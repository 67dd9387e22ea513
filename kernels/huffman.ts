// The Huffman code of a block of deflate (RFC 1951): code lengths by Moffat & Katajainen, In-place calculation of
// minimum-redundancy codes, WADS, 1995, held to 15 bits by moving leaves down; the codes; the block's head.
import { CODES, HISTOGRAM, KEYS, LENGTHS, LEVELS, SYMBOLS, WORK, at, put, set } from './deflate-state';

/** Longest code: RFC 1951, 3.2.7. */
const BITS = 15;

/** The code of a run's length, 3 to 258: RFC 1951, 3.2.5. */
export function lengthCode(length: i32): i32 {
  if (length == 258) return 285;
  if (length < 11) return 254 + length;
  const l = length - 3, extra = 29 - clz(l);
  return 257 + (extra << 2) + (l >> extra);
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
export function codeLengths(s: usize): i32 {
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
 * Codes of symbols from their lengths, and of every token: a literal, or 256 more than a run's length with its
 * distance.
 */
export function codeTable(s: usize): void {
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
export function putHead(s: usize, last: u32, symbols: i32): void {
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
