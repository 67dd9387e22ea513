/**
 * Separable convolution of one plane: a row of taps across, then a column of taps down. Taps have odd length and are
 * applied as correlation (tap 0 on the left / top), so that symmetric filters need no thought and a derivative filter
 * reads as it is written. Values beyond the edge follow `boundary`.
 */
import { PlatewrightError } from '../core/errors.js';
import { BOUNDARY_MODE, boundaryIndex, planeOr, requirePlane, type Boundary } from './boundary.js';
import { KERNEL_FROM_PIXELS, kernels } from './kernels.js';
import { createPicture, plane, type Picture } from './picture.js';

function requireTaps(taps: ArrayLike<number>): void {
  if (taps.length % 2 !== 1) {
    throw new PlatewrightError(
      'PW-IMAGE-TAPS',
      `a separable filter needs an odd number of taps, but got ${taps.length}`,
      { kind: 'internal' },
    );
  }
}

/**
 * A separable filter of one plane. `src` and `dst` are height × width; `dst` may be `src`. Odd numbers of weights,
 * `tapsX` across and `tapsY` down. Throws `PW-IMAGE-SHAPE` and `PW-IMAGE-TAPS`.
 */
type SeparableFilter = (
  src: Float32Array,
  width: number,
  height: number,
  tapsX: ArrayLike<number>,
  tapsY: ArrayLike<number>,
  boundary?: Boundary,
  dst?: Float32Array,
) => Float32Array;

/** Plain twin of the kernel. */
export const convolveSeparablePlain: SeparableFilter = (src, width, height, tapsX, tapsY, boundary = 'clamp', dst) => {
  requirePlane(src, width, height, 'separable convolution');
  requireTaps(tapsX);
  requireTaps(tapsY);
  const out = planeOr(dst, width * height, 'separable convolution');
  const rx = (tapsX.length - 1) >> 1;
  const ry = (tapsY.length - 1) >> 1;
  const mid = new Float32Array(width * height);
  const line = new Float32Array(width + 2 * rx);
  const tx = Float32Array.from(tapsX);
  const ty = Float32Array.from(tapsY);
  for (let y = 0; y < height; y++) {
    const row = y * width;
    for (let i = -rx; i < width + rx; i++) {
      const k = boundaryIndex(i, width, boundary);
      line[i + rx] = k < 0 ? 0 : src[row + k]!;
    }
    for (let x = 0; x < width; x++) {
      let sum = 0;
      for (let t = 0; t < tx.length; t++) sum += tx[t]! * line[x + t]!;
      mid[row + x] = sum;
    }
  }
  const acc = new Float64Array(width);
  for (let y = 0; y < height; y++) {
    acc.fill(0);
    for (let t = 0; t < ty.length; t++) {
      const k = boundaryIndex(y + t - ry, height, boundary);
      const w = ty[t]!;
      if (k < 0 || w === 0) continue;
      const row = k * width;
      for (let x = 0; x < width; x++) acc[x] = acc[x]! + w * mid[row + x]!;
    }
    const o = y * width;
    for (let x = 0; x < width; x++) out[o + x] = acc[x]!;
  }
  return out;
};

/** Do two arrays share memory? */
function overlap(a: Float32Array, b: Float32Array): boolean {
  return (
    a.buffer === b.buffer && a.byteOffset < b.byteOffset + b.byteLength && b.byteOffset < a.byteOffset + a.byteLength
  );
}

/** Separable convolution; values beyond the edge are repeated unless told otherwise. */
export const convolveSeparable: SeparableFilter = (src, width, height, tapsX, tapsY, boundary = 'clamp', dst) => {
  requirePlane(src, width, height, 'separable convolution');
  requireTaps(tapsX);
  requireTaps(tapsY);
  const n = width * height;
  // The kernel reflects once only; longer reaches and small pictures take the twin.
  if (n < KERNEL_FROM_PIXELS || tapsX.length >> 1 >= width || tapsY.length >> 1 >= height) {
    return convolveSeparablePlain(src, width, height, tapsX, tapsY, boundary, dst);
  }
  const out = planeOr(dst, n, 'separable convolution');
  const door = kernels();
  const scope = door.scope();
  try {
    const s = scope.input(src);
    const d = scope.output(out, overlap(out, src));
    const tx = scope.input(Float32Array.from(tapsX));
    const ty = scope.input(Float32Array.from(tapsY));
    const scratch = 4 * (width + tapsX.length + 64 + 3 * tapsY.length + tapsY.length * (width + 16)) + 256;
    door.run(
      'convolveSeparable',
      [s, d, width, height, tx, tapsX.length, ty, tapsY.length, BOUNDARY_MODE[boundary]],
      height,
      (width * (tapsX.length + tapsY.length)) / 4,
      scratch,
    );
    scope.finish();
  } finally {
    scope.close();
  }
  return out;
};

/**
 * Applies a plane function to every plane of a picture. `dst` may be `src`. Throws `PW-IMAGE-SHAPE` where `dst` has
 * another size.
 */
export function mapPlanes(
  src: Picture,
  dst: Picture | undefined,
  run: (from: Float32Array, to: Float32Array) => void,
): Picture {
  const out = dst ?? createPicture(src.width, src.height, src.channels);
  if (out.width !== src.width || out.height !== src.height || out.channels !== src.channels) {
    throw new PlatewrightError(
      'PW-IMAGE-SHAPE',
      `the destination is ${out.width}×${out.height}×${out.channels}, ` +
        `but the source is ${src.width}×${src.height}×${src.channels}`,
      { kind: 'internal' },
    );
  }
  for (let c = 0; c < src.channels; c++) run(plane(src, c), plane(out, c));
  return out;
}
