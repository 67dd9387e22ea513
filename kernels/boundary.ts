// Boundary modes shared with src/image/kernels.ts: 0 clamp, 1 mirror, 2 zero. One reflection only:
// callers keep the reach below the side's length.

// @ts-ignore: decorator
@inline
export function boundaryIndex(i: i32, n: i32, mode: i32): i32 {
  if (i >= 0 && i < n) return i;
  if (mode == 2) return -1;
  if (mode == 0) return i < 0 ? 0 : n - 1;
  return i < 0 ? -1 - i : 2 * n - 1 - i;
}
