// Adler-32 (RFC 1950, 8.2) of bytes and of runs of zeros, into a stream's state.
import { SUM_A, SUM_B } from './deflate-state';

/** The largest prime below 2^16. */
export const MODULUS: u64 = 65521;

/** Adler-32 of n zeros more. */
// @ts-ignore: decorator
@inline
export function sumZeros(s: usize, n: u64): void {
  store<u32>(s, <u32>((<u64>load<u32>(s, SUM_B) + n % MODULUS * <u64>load<u32>(s, SUM_A)) % MODULUS), SUM_B);
}

/** Adler-32 of n bytes more. */
export function sumBytes(s: usize, p: usize, n: i32): void {
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
