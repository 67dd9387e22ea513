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
    const bx = known ? mirrored.beyond[i]! : 0,
      by = known ? mirrored.beyond[m + i]! : 0;
    for (let c = 0; c < 3; c++) {
      const had = out.data[c * n + o]!,
        lost = !known
          ? had
          : bx < 1 && by < 1
            ? seen.data[c * s + y * sw + x]!
            : alongEdge(seen.data.subarray(c * s, (c + 1) * s), sw, seen.height, { x, y, bx, by });
      out.data[c * n + o] = Math.max(KEEPS * had, had + k * (picture.data[c * m + i]! - a * lost));
    }
  }
}

/** Samples of the mean along an edge. */
const ALONG = 16;
/**
 * What is mirrored from beyond the picture: the mean along its edge over as far to either side as the place lies
 * outside. A single pixel of the edge would go on as a streak as long as the reflection.
 */
function alongEdge(
  d: Float32Array,
  w: number,
  h: number,
  { x, y, bx, by }: { readonly x: number; readonly y: number; readonly bx: number; readonly by: number },
): number {
  const [rx, ry] = by >= bx ? [by, 0] : [0, bx];
  let sum = 0;
  for (let k = 0; k <= ALONG; k++) {
    const t = (2 * k) / ALONG - 1,
      u = Math.min(w - 1, Math.max(0, Math.round(x + t * rx))),
      v = Math.min(h - 1, Math.max(0, Math.round(y + t * ry)));
    sum += d[v * w + u]!;
  }
  return sum / (ALONG + 1);
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
    const bx = mirrored.beyond[i]!,
      by = mirrored.beyond[m + i]!,
      [rx, ry] = by >= bx ? [by, 0] : [0, bx];
    x0 = Math.min(x0, Math.max(0, x - rx));
    x1 = Math.max(x1, Math.min(widthPx - 1, x + rx));
    y0 = Math.min(y0, Math.max(0, y - ry));
    y1 = Math.max(y1, Math.min(heightPx - 1, y + ry));
  }
  return x1 < x0
    ? null
    : [Math.floor(x0), Math.floor(y0), Math.min(widthPx, Math.floor(x1) + 1), Math.min(heightPx, Math.floor(y1) + 1)];
}
