// Slices of a ProRes picture (SMPTE RDD 36): 4:4:4, 10 bits, coefficients of a slice's blocks place by
// place along the scan, runs and levels in codes that follow what came before. Held to the bytes of
// another encoder (src/media/prores-encoder.test.ts).
import { transformEight } from './block-transform';

/** Where things lie in `tables`, as src/media/prores-tables.ts lays them out. */
const MATRICES: usize = 64, RUNS: usize = 192, LEVELS: usize = 4288, BOOKS: usize = 6848, PARTS: usize = 6912;
/** Codes that a table knows. */
const KNOWN: i32 = 64;

/** Bits of a value in a codebook, their number in the upper half. */
function codeword(value: u32, book: u32): u64 {
  const turn = book & 3, rice = book >> 5, order = (book >> 2) & 7, golomb = (turn + 1) << rice;
  if (value < golomb)
    return (<u64>((value >> rice) + 1 + rice) << 32) | ((<u64>1 << rice) | (value & ((1 << rice) - 1)));
  const v = value - golomb + (1 << order), size = <u32>31 - clz(v);
  return (<u64>(size - order + turn + 1 + size + 1) << 32) | v;
}

/** The words of `g` groups of eight at `from`, each cut off to whole multiples of q, without their sign. */
// @ts-ignore: decorator
@inline
function parts(from: usize, part: u32, to: usize): void {
  const a = i16x8.abs(v128.load(from)), m = i16x8.splat(<i16>(part & 0xffff)), s = <i32>(part >> 16);
  v128.store(
    to,
    i16x8.narrow_i32x4_u(
      i32x4.shr_u(i32x4.extmul_low_i16x8_u(a, m), s),
      i32x4.shr_u(i32x4.extmul_high_i16x8_u(a, m), s),
    ),
  );
}

/**
 * Codes one plane's coefficients; returns where its bytes end. `coefficients`: 64 places of 32 words; `levels`: 64
 * bytes.
 */
function codePlane(
  coefficients: usize, blocks: i32, matrix: usize, qp: u32, tables: usize, levels: usize, out: usize,
): usize {
  const groups = (blocks + 7) >> 3, all: u32 = blocks == 32 ? 0xffffffff : (<u32>1 << blocks) - 1;
  let acc: u64 = 0, n = 0, p = out;
  const first = load<u32>(tables + PARTS + (<usize>(load<u8>(matrix) * qp) << 2));
  for (let g = 0; g < groups; g++) parts(coefficients + (<usize>g << 4), first, levels + (<usize>g << 4));
  let before = 0, sign: i32 = 0, book: u32 = 0xb8;
  for (let j = 0; j < blocks; j++) {
    const size = <i32>load<u16>(levels + (<usize>j << 1));
    const dc = load<i16>(coefficients + (<usize>j << 1)) < 0 ? -size : size;
    const delta = dc - before;
    const code: u32 = j == 0
      ? <u32>((dc << 1) ^ (dc >> 31))
      : delta == 0
      ? 0
      : <u32>((abs(delta) << 1) + ((delta >> 31) ^ sign));
    const word = codeword(code, book), length = <i32>(word >> 32);
    acc = (acc << length) | (word & 0xffffffff);
    n += length;
    // Eight bytes are laid down each time, of which those that are whole stay: no branch that cannot be foretold.
    store<u64>(p, bswap<u64>(acc << (64 - n)));
    p += n >> 3;
    n &= 7;
    // The first follows as if a code of five had come before.
    book = load<u8>(tables + BOOKS + 26 + <usize>min<u32>(j == 0 ? 5 : code, 6));
    sign = j == 0 ? 0 : delta >> 31;
    before = dc;
  }
  let run = 0, runs = tables + RUNS + (4 << 8), sizes = tables + LEVELS + (2 << 8), lastRun = 4, lastLevel = 2;
  for (let i: usize = 1; i < 64; i++) {
    const place = <usize>load<u8>(tables + i), from = coefficients + (place << 6);
    const q = load<u8>(matrix + place) * qp, least = i16x8.splat(<i16>q);
    let there: u32 = 0;
    for (let g = 0; g < groups; g++)
      there |= <u32>i16x8.bitmask(i16x8.ge_s(i16x8.abs(v128.load(from + (<usize>g << 4))), least)) << (g << 3);
    there &= all;
    if (there == 0) { run += blocks; continue; }
    const part = load<u32>(tables + PARTS + (<usize>q << 2));
    for (let g = 0; g < groups; g++)
      if (((there >> (g << 3)) & 255) != 0) parts(from + (<usize>g << 4), part, levels + (<usize>g << 4));
    let last = -1;
    while (there != 0) {
      const j = <i32>ctz(there);
      there &= there - 1;
      run += j - last - 1;
      last = j;
      const level = <i32>load<u16>(levels + (<usize>j << 1)), minus = <u32>load<u16>(from + (<usize>j << 1)) >> 15;
      if (run < KNOWN && level <= KNOWN) {
        const r = load<u32>(runs + (<usize>run << 2)), l = load<u32>(sizes + (<usize>(level - 1) << 2));
        const long = <i32>(l >> 24), length = <i32>(r >> 24) + long;
        acc = (acc << length) | (<u64>(r & 0xffffff) << long) | <u64>((l & 0xffffff) | minus);
        n += length;
      } else {
        const r = codeword(<u32>run, load<u8>(tables + BOOKS + <usize>lastRun));
        const l = codeword(<u32>(level - 1), load<u8>(tables + BOOKS + 16 + <usize>lastLevel));
        acc = (acc << (r >> 32)) | (r & 0xffffffff);
        n += <i32>(r >> 32);
        store<u64>(p, bswap<u64>(acc << (64 - n)));
        p += n >> 3;
        n &= 7;
        acc = (acc << ((l >> 32) + 1)) | ((l & 0xffffffff) << 1) | minus;
        n += <i32>(l >> 32) + 1;
      }
      store<u64>(p, bswap<u64>(acc << (64 - n)));
      p += n >> 3;
      n &= 7;
      lastRun = min(run, 15);
      lastLevel = min(level, 9);
      runs = tables + RUNS + (<usize>lastRun << 8);
      sizes = tables + LEVELS + (<usize>lastLevel << 8);
      run = 0;
    }
    run += blocks - 1 - last;
  }
  // Filled up with noughts to whole bytes.
  return n > 0 ? p + 1 : p;
}

/** Macroblocks that reach over the picture's border, with its last column and line gone on with. */
function filledUp(from: usize, stride: usize, w: i32, h: i32, x0: i32, y0: i32, wide: i32, to: usize): void {
  for (let y = 0; y < 16; y++) {
    const line = from + <usize>min(h - 1, y0 + y) * stride;
    for (let x = 0; x < wide; x++)
      store<u16>(to + (<usize>(y * 128 + x) << 1), load<u16>(line + (<usize>min(w - 1, x0 + x) << 1)));
  }
}

/**
 * All slices of a picture of three planes of 10-bit words (rows `stride` bytes apart): the table of their sizes at
 * `out`, and the slices one after the other behind it. A slice is coded by the quantiser of the one before,
 * coarser by one until it has no more than nine eighths of `aim` bits a macroblock (`coarsest` at most), or finer
 * while it has less than seven eighths, but for slices that reach over the picture's border. `total`: where the
 * number of bytes goes. One item. Scratch: 17 600 bytes.
 */
export function proresSlices(
  y: usize, u: usize, v: usize, stride: i32, w: i32, h: i32, tables: usize, coarsest: i32, aim: i32, slices: i32,
  out: usize, total: usize, from: i32, to: i32, scratch: usize,
): void {
  if (from > 0 || to < 1) return;
  const coefficients = scratch, work = scratch + 12288, levels = work + 1024, filled = levels + 64;
  const across = (w + 15) >> 4, down = (h + 15) >> 4, step = <usize>stride;
  let p = out + (<usize>slices << 1), table = out, qp: i32 = 1;
  for (let my = 0; my < down; my++) {
    let count = 8;
    for (let mx = 0; mx < across; mx += count) {
      while (across - mx < count) count >>= 1;
      const blocks = count << 2, x0 = mx << 4, y0 = my << 4, whole = x0 + (count << 4) <= w && y0 + 16 <= h;
      for (let c = 0; c < 3; c++) {
        let corner = (c == 0 ? y : c == 1 ? u : v), rows = step;
        if (whole) corner += <usize>y0 * step + (<usize>x0 << 1);
        else { filledUp(corner, step, w, h, x0, y0, count << 4, filled); corner = filled; rows = 256; }
        for (let k = 0; k < count; k += 2) {
          const a = corner + (<usize>k << 5), b = k + 1 < count ? a + 32 : a;
          transformEight(a, b, rows, c > 0, coefficients + <usize>c * 4096 + (<usize>k << 3), work);
        }
      }
      const bits = count * aim;
      let size = 0, way = 0;
      for (;;) {
        const begun = p + 6, luma = codePlane(coefficients, blocks, tables + MATRICES, <u32>qp, tables, levels, begun);
        const blue = codePlane(coefficients + 4096, blocks, tables + MATRICES + 64, <u32>qp, tables, levels, luma);
        const red = codePlane(coefficients + 8192, blocks, tables + MATRICES + 64, <u32>qp, tables, levels, blue);
        size = <i32>(red - begun);
        store<u8>(p, 48);
        store<u8>(p, <u8>qp, 1);
        store<u16>(p, bswap<u16>(<u16>(luma - begun)), 2);
        store<u16>(p, bswap<u16>(<u16>(blue - luma)), 4);
        // Whoever went finer does not go coarser again; what reaches over the border keeps the quantiser.
        if (!whole) break;
        if (way >= 0 && size > ((bits + (bits >> 3)) >> 3) && qp < coarsest) { qp++; way = 1; }
        else if (way <= 0 && size < ((bits - (bits >> 3)) >> 3) && qp > 1) { qp--; way = -1; }
        else break;
      }
      store<u16>(table, bswap<u16>(<u16>(size + 6)));
      table += 2;
      p += <usize>size + 6;
    }
  }
  store<u32>(total, <u32>(p - out));
}
