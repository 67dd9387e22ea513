/**
 * The performer in the mirror laid on the plate, and which of the plate's pixels tell what the mirror showed before.
 */
import type { Picture } from '../../image/picture.js';
import type { Box } from './ground.js';
import type { Mirrored } from './reflect.js';

/** Least share of its own light that a mirroring pixel keeps. */
const KEEPS = 0.02;

/**
 * Lays what is mirrored on `out` (linear RGB over `box`). `seen` gives the plate's linear light over `seenBox`, where
 * what the mirror showed before is looked up; what is not in it counts as bright as the pixel itself.
 */
export function layMirrored(
  out: Picture,
  mirrored: Mirrored,
  box: Box,
  seen: Picture,
  seenBox: Box,
  touched: Uint8Array,
  hidden: Float32Array | null,
): void {
  const w = box[2] - box[0],
    n = out.width * out.height,
    { picture, behind } = mirrored,
    mw = picture.width,
    m = mw * picture.height;
  const sw = seen.width,
    s = sw * seen.height;
  for (let i = 0; i < m; i++) {
    const a = picture.data[3 * m + i]!;
    if (!(a > 0.001)) continue;
    const o = (Math.floor(i / mw) + mirrored.box[1] - box[1]) * w + (i % mw) + mirrored.box[0] - box[0],
      k = hidden === null ? 1 : 1 - hidden[o]!;
    if (k <= 0) continue;
    const x = Math.floor(behind[i]!) - seenBox[0],
      y = Math.floor(behind[m + i]!) - seenBox[1],
      known = x >= 0 && y >= 0 && x < sw && y < seen.height;
    touched[o] = 1;
    for (let c = 0; c < 3; c++) {
      const had = out.data[c * n + o]!,
        lost = known ? seen.data[c * s + y * sw + x]! : had;
      out.data[c * n + o] = Math.max(KEEPS * had, had + k * (picture.data[c * m + i]! - a * lost));
    }
  }
}

/** Box that holds the plate pixels looked up; null where there are none. */
export function behindBox(mirrored: Mirrored, widthPx: number, heightPx: number): Box | null {
  const m = mirrored.picture.width * mirrored.picture.height;
  let x0 = Infinity,
    y0 = Infinity,
    x1 = -Infinity,
    y1 = -Infinity;
  for (let i = 0; i < m; i++) {
    const x = mirrored.behind[i]!,
      y = mirrored.behind[m + i]!;
    if (Number.isNaN(x) || !(mirrored.picture.data[3 * m + i]! > 0.001)) continue;
    x0 = Math.min(x0, x);
    x1 = Math.max(x1, x);
    y0 = Math.min(y0, y);
    y1 = Math.max(y1, y);
  }
  return x1 < x0
    ? null
    : [Math.floor(x0), Math.floor(y0), Math.min(widthPx, Math.floor(x1) + 1), Math.min(heightPx, Math.floor(y1) + 1)];
}
