// Forward discrete cosine transform of 8 × 8 samples of 10 bits, eight blocks side by side: a lane of a vector is a
// block. C. Loeffler, A. Ligtenberg & G. Moschytz, "Practical fast 1-D DCT algorithms with 11 multiplications", ICASSP
// 1989, in whole numbers of 13 bits with one more bit between the passes (the Independent JPEG Group's accurate integer
// form), products paired. Held, with prores.ts, to the bytes of another encoder (src/media/prores-encoder.test.ts).

/** cos and sin of multiples of π / 16 as the paper combines them, times 2¹³. */
const F0298: i16 = 2446, F0390: i16 = 3196, F0541: i16 = 4433, F0765: i16 = 6270;
const F0899: i16 = 7373, F1175: i16 = 9633, F1501: i16 = 12299, F1847: i16 = 15137;
const F1961: i16 = 16069, F2053: i16 = 16819, F2562: i16 = 20995, F3072: i16 = 25172;

// @ts-ignore: decorator
@inline
function pair(a: i16, b: i16): v128 {
  return i16x8(a, b, a, b, a, b, a, b);
}

// @ts-ignore: decorator
@inline
function low(a: v128, b: v128): v128 {
  return v128.shuffle<i16>(a, b, 0, 8, 1, 9, 2, 10, 3, 11);
}

// @ts-ignore: decorator
@inline
function high(a: v128, b: v128): v128 {
  return v128.shuffle<i16>(a, b, 4, 12, 5, 13, 6, 14, 7, 15);
}

// @ts-ignore: decorator
@inline
function scaled(l: v128, h: v128, round: v128, shift: i32): v128 {
  return i16x8.narrow_i32x4_s(i32x4.shr_s(i32x4.add(l, round), shift), i32x4.shr_s(i32x4.add(h, round), shift));
}

/**
 * One pass over eight vectors `step` bytes apart, in place. The second pass takes two bits more away than the first
 * added.
 */
function pass(at: usize, step: usize, second: bool): void {
  const d0 = v128.load(at), d1 = v128.load(at + step), d2 = v128.load(at + 2 * step), d3 = v128.load(at + 3 * step);
  const d4 = v128.load(at + 4 * step), d5 = v128.load(at + 5 * step);
  const d6 = v128.load(at + 6 * step), d7 = v128.load(at + 7 * step);
  const s0 = i16x8.add(d0, d7), s1 = i16x8.add(d1, d6), s2 = i16x8.add(d2, d5), s3 = i16x8.add(d3, d4);
  const t7 = i16x8.sub(d0, d7), t6 = i16x8.sub(d1, d6), t5 = i16x8.sub(d2, d5), t4 = i16x8.sub(d3, d4);
  const e0 = i16x8.add(s0, s3), e3 = i16x8.sub(s0, s3), e1 = i16x8.add(s1, s2), e2 = i16x8.sub(s1, s2);
  const shift = second ? 15 : 12, round = i32x4.splat(1 << (shift - 1));
  if (second) {
    // The sum of all eight has more than 16 bits here.
    const l = low(e0, e1), h = high(e0, e1), two = i32x4.splat(2);
    v128.store(at, scaled(i32x4.dot_i16x8_s(l, pair(1, 1)), i32x4.dot_i16x8_s(h, pair(1, 1)), two, 2));
    v128.store(at + 4 * step, scaled(i32x4.dot_i16x8_s(l, pair(1, -1)), i32x4.dot_i16x8_s(h, pair(1, -1)), two, 2));
  } else {
    v128.store(at, i16x8.shl(i16x8.add(e0, e1), 1));
    v128.store(at + 4 * step, i16x8.shl(i16x8.sub(e0, e1), 1));
  }
  const el = low(e3, e2), eh = high(e3, e2);
  const c2 = pair(F0541 + F0765, F0541), c6 = pair(F0541, F0541 - F1847);
  v128.store(at + 2 * step, scaled(i32x4.dot_i16x8_s(el, c2), i32x4.dot_i16x8_s(eh, c2), round, shift));
  v128.store(at + 6 * step, scaled(i32x4.dot_i16x8_s(el, c6), i32x4.dot_i16x8_s(eh, c6), round, shift));
  const z3 = i16x8.add(t4, t6), z4 = i16x8.add(t5, t7), zl = low(z3, z4), zh = high(z3, z4);
  const k3 = pair(F1175 - F1961, F1175), k4 = pair(F1175, F1175 - F0390);
  const z3l = i32x4.dot_i16x8_s(zl, k3), z3h = i32x4.dot_i16x8_s(zh, k3);
  const z4l = i32x4.dot_i16x8_s(zl, k4), z4h = i32x4.dot_i16x8_s(zh, k4);
  const al = low(t4, t7), ah = high(t4, t7), bl = low(t5, t6), bh = high(t5, t6);
  const c7 = pair(F0298 - F0899, -F0899), c1 = pair(-F0899, F1501 - F0899);
  const c5 = pair(F2053 - F2562, -F2562), c3 = pair(-F2562, F3072 - F2562);
  v128.store(
    at + 7 * step,
    scaled(i32x4.add(i32x4.dot_i16x8_s(al, c7), z3l), i32x4.add(i32x4.dot_i16x8_s(ah, c7), z3h), round, shift),
  );
  v128.store(
    at + step,
    scaled(i32x4.add(i32x4.dot_i16x8_s(al, c1), z4l), i32x4.add(i32x4.dot_i16x8_s(ah, c1), z4h), round, shift),
  );
  v128.store(
    at + 5 * step,
    scaled(i32x4.add(i32x4.dot_i16x8_s(bl, c5), z4l), i32x4.add(i32x4.dot_i16x8_s(bh, c5), z4h), round, shift),
  );
  v128.store(
    at + 3 * step,
    scaled(i32x4.add(i32x4.dot_i16x8_s(bl, c3), z3l), i32x4.add(i32x4.dot_i16x8_s(bh, c3), z3h), round, shift),
  );
}

/** Row `y` of eight blocks, turned so that a vector holds one column of all, less the middle code. */
// @ts-ignore: decorator
@inline
function turned(
  p0: usize, p1: usize, p2: usize, p3: usize, p4: usize, p5: usize, p6: usize, p7: usize, to: usize,
): void {
  const mid = i16x8.splat(512);
  const a0 = v128.load(p0), a1 = v128.load(p1), a2 = v128.load(p2), a3 = v128.load(p3);
  const a4 = v128.load(p4), a5 = v128.load(p5), a6 = v128.load(p6), a7 = v128.load(p7);
  // Pairs four apart are interleaved three times over: the transpose of eight by eight.
  const b0 = low(a0, a4), b1 = high(a0, a4), b2 = low(a1, a5), b3 = high(a1, a5);
  const b4 = low(a2, a6), b5 = high(a2, a6), b6 = low(a3, a7), b7 = high(a3, a7);
  const c0 = low(b0, b4), c1 = high(b0, b4), c2 = low(b1, b5), c3 = high(b1, b5);
  const c4 = low(b2, b6), c5 = high(b2, b6), c6 = low(b3, b7), c7 = high(b3, b7);
  v128.store(to, i16x8.sub(low(c0, c4), mid)); v128.store(to, i16x8.sub(high(c0, c4), mid), 16);
  v128.store(to, i16x8.sub(low(c1, c5), mid), 32); v128.store(to, i16x8.sub(high(c1, c5), mid), 48);
  v128.store(to, i16x8.sub(low(c2, c6), mid), 64); v128.store(to, i16x8.sub(high(c2, c6), mid), 80);
  v128.store(to, i16x8.sub(low(c3, c7), mid), 96); v128.store(to, i16x8.sub(high(c3, c7), mid), 112);
}

/**
 * Two macroblocks of 16 × 16 words at `a` and `b` (rows `stride` bytes apart) as eight blocks each transformed, four
 * times the orthonormal values: coefficient v · 8 + u of all into the eight words at `to` + 64 (v · 8 + u). Blocks go
 * along rows, or with `down` along columns. `work`: 1024 bytes.
 */
export function transformEight(a: usize, b: usize, stride: usize, down: bool, to: usize, work: usize): void {
  const first = down ? 8 * stride : 16, second = down ? <usize>16 : 8 * stride;
  for (let y: usize = 0; y < 8; y++) {
    const p = a + y * stride, q = b + y * stride;
    const row = work + (y << 7);
    turned(p, p + first, p + second, p + first + second, q, q + first, q + second, q + first + second, row);
    pass(row, 16, false);
  }
  for (let x: usize = 0; x < 8; x++) pass(work + (x << 4), 128, true);
  for (let k: usize = 0; k < 64; k++) v128.store(to + (k << 6), v128.load(work + (k << 4)));
}
