/**
 * What a filter reads beyond the picture's edge. 'clamp' repeats the edge pixel; 'mirror' reflects about the edge line
 * (… b a | a b …); 'zero' reads nothing (0), which for premultiplied pictures means transparent.
 */
import { PlatewrightError } from '../core/errors.js';

/** What stands beyond a picture's edge: nothing, the edge's own value, or the picture mirrored at it. */
export type Boundary = 'clamp' | 'mirror' | 'zero';

/**
 * A filter of one plane (height × width) over a window of half widths rx, ry in pixels; `ry` is `rx` where it is left
 * out; the result goes to `dst`, which may be `src`, or to a new plane.
 */
export type WindowFilter = (
  src: Float32Array,
  width: number,
  height: number,
  rx: number,
  ry?: number,
  dst?: Float32Array,
) => Float32Array;

/** Numbers of the modes in the kernels. */
export const BOUNDARY_MODE: Record<Boundary, number> = { clamp: 0, mirror: 1, zero: 2 };

/** Index of the pixel that stands in for `i` in a line of `n` pixels; -1 = reads as zero. */
export function boundaryIndex(i: number, n: number, boundary: Boundary): number {
  if (i >= 0 && i < n) return i;
  if (boundary === 'zero') return -1;
  if (boundary === 'clamp') return i < 0 ? 0 : n - 1;
  const period = 2 * n;
  let k = i % period;
  if (k < 0) k += period;
  return k < n ? k : period - 1 - k;
}

/** Throws `PW-IMAGE-SHAPE` unless `plane` has width × height elements; `what` names the caller. */
export function requirePlane(plane: { readonly length: number }, width: number, height: number, what: string): void {
  if (!(width > 0) || !(height > 0) || plane.length !== width * height) {
    throw new PlatewrightError(
      'PW-IMAGE-SHAPE',
      `${what} expected a plane of ${width} × ${height} = ${width * height} values, but got ${plane.length}`,
      { kind: 'internal' },
    );
  }
}

/** `dst`, checked to fit, or a new plane of n values. Throws `PW-IMAGE-SHAPE` where it does not fit. */
export function planeOr(dst: Float32Array | undefined, n: number, what: string): Float32Array {
  if (dst === undefined) return new Float32Array(n);
  if (dst.length !== n) {
    throw new PlatewrightError(
      'PW-IMAGE-SHAPE',
      `${what} was given a destination of ${dst.length} values, but writes ${n}`,
      { kind: 'internal' },
    );
  }
  return dst;
}
