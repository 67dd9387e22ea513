/**
 * What the ProRes kernel (kernels/prores.ts) looks up, in one piece: scan, weights and codes of SMPTE RDD 36 (from
 * memory, held by the test to another encoder's bytes), and how a coefficient is divided. Byte offsets: 0 scan, 64
 * weights of luma and chroma, 192 codes of runs (16 × 64 words), 4288 of levels with room for the sign (10 × 64), 6848
 * codebooks (16 of runs, 10 of levels, 7 of a mean's difference), 6912 multiplier and shift for each divisor.
 */

/** Places of a progressive frame's coefficients (row · 8 + column) in the order in which they are coded. */
const SCAN = [
  0, 1, 8, 9, 2, 3, 10, 11, 16, 17, 24, 25, 18, 19, 26, 27, 4, 5, 12, 20, 13, 6, 7, 14, 21, 28, 29, 22, 15, 23, 30, 31,
  32, 33, 40, 48, 41, 34, 35, 42, 49, 56, 57, 50, 43, 36, 37, 44, 51, 58, 59, 52, 45, 38, 39, 46, 53, 60, 61, 54, 47,
  55, 62, 63,
] as const;

/**
 * Weights of the quantiser, luma's and chroma's: flat but for the finest structures, as
 * FFmpeg's encoders have them for 4:4:4.
 */
const WEIGHTS = [
  ...new Array<number>(24).fill(4),
  4,
  4,
  4,
  4,
  4,
  4,
  4,
  5,
  4,
  4,
  4,
  4,
  4,
  4,
  5,
  5,
  4,
  4,
  4,
  4,
  4,
  5,
  5,
  6,
  4,
  4,
  4,
  4,
  5,
  5,
  6,
  7,
  4,
  4,
  4,
  4,
  5,
  6,
  7,
  7,
] as const;

/** A codebook's bits: order of its Rice codes (3), of its exponential Golomb codes (3), and where these begin (2). */
const RUN_BOOKS = [0x06, 0x06, 0x05, 0x05, 0x04, 0x29, 0x29, 0x29, 0x29, 0x28, 0x28, 0x28, 0x28, 0x28, 0x28, 0x4c];
const LEVEL_BOOKS = [0x04, 0x0a, 0x05, 0x06, 0x04, 0x28, 0x28, 0x28, 0x28, 0x4c];
const MEAN_BOOKS = [0x04, 0x28, 0x28, 0x4d, 0x4d, 0x70, 0x70];
/** Values that the tables know. */
const KNOWN = 64;
/** Coarsest quantiser times the largest weight. */
const MOST_DIVISOR = 255;

/** A value's code in a codebook and the number of its bits. */
export function codeword(value: number, book: number): { readonly bits: number; readonly length: number } {
  const turn = book & 3;
  const rice = book >> 5;
  const order = (book >> 2) & 7;
  const golomb = (turn + 1) << rice;
  if (value < golomb) return { bits: (1 << rice) | (value & ((1 << rice) - 1)), length: (value >> rice) + 1 + rice };
  const v = value - golomb + (1 << order);
  const size = 31 - Math.clz32(v);
  return { bits: v, length: size - order + turn + 1 + size + 1 };
}

/** All tables in one block of bytes. */
export function proresTables(): Uint8Array {
  const bytes = new Uint8Array(6912 + 4 * (MOST_DIVISOR + 1));
  const view = new DataView(bytes.buffer);
  bytes.set(SCAN);
  bytes.set(WEIGHTS, 64);
  bytes.set(WEIGHTS, 128);
  for (let v = 0; v < KNOWN; v++) {
    RUN_BOOKS.forEach((book, i) => {
      const c = codeword(v, book);
      view.setUint32(192 + 4 * (i * KNOWN + v), (c.length << 24) | c.bits, true);
    });
    LEVEL_BOOKS.forEach((book, i) => {
      const c = codeword(v, book);
      view.setUint32(4288 + 4 * (i * KNOWN + v), ((c.length + 1) << 24) | (c.bits << 1), true);
    });
  }
  bytes.set([...RUN_BOOKS, ...LEVEL_BOOKS, ...MEAN_BOOKS], 6848);
  for (let q = 1; q <= MOST_DIVISOR; q++) {
    // For values up to 2¹⁴ the product, shifted, is the quotient without its rest: the multiplier
    // is too large by less than q over 2 to the shift.
    const shift = 15 + Math.floor(Math.log2(q));
    view.setUint32(6912 + 4 * q, (shift << 16) | Math.ceil(2 ** shift / q), true);
  }
  return bytes;
}
