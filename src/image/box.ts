/**
 * Box mean over a (2 rx + 1) × (2 ry + 1) window by running sums in double precision, so that the cost does not depend
 * on the radius. The window is cut at the picture's edge, and the mean is over the pixels inside.
 */
import { planeOr, requirePlane, type WindowFilter } from './boundary.js';
import { KERNEL_FROM_PIXELS, kernels } from './kernels.js';

function runBox(src: Float32Array, width: number, height: number, rx: number, ry: number, out: Float32Array): void {
  const mid = new Float64Array(width * height);
  for (let y = 0; y < height; y++) {
    const o = y * width;
    let sum = 0;
    for (let x = 0; x < Math.min(rx, width); x++) sum += src[o + x]!;
    for (let x = 0; x < width; x++) {
      if (x + rx < width) sum += src[o + x + rx]!;
      if (x - rx - 1 >= 0) sum -= src[o + x - rx - 1]!;
      const n = Math.min(width - 1, x + rx) - Math.max(0, x - rx) + 1;
      mid[o + x] = sum / n;
    }
  }
  const acc = new Float64Array(width);
  for (let y = 0; y < Math.min(ry, height); y++) {
    const o = y * width;
    for (let x = 0; x < width; x++) acc[x] = acc[x]! + mid[o + x]!;
  }
  for (let y = 0; y < height; y++) {
    const o = y * width;
    const add = (y + ry) * width;
    const sub = (y - ry - 1) * width;
    if (y + ry < height) for (let x = 0; x < width; x++) acc[x] = acc[x]! + mid[add + x]!;
    if (y - ry - 1 >= 0) for (let x = 0; x < width; x++) acc[x] = acc[x]! - mid[sub + x]!;
    const n = Math.min(height - 1, y + ry) - Math.max(0, y - ry) + 1;
    for (let x = 0; x < width; x++) out[o + x] = acc[x]! / n;
  }
}

/** Plain twin: mean over the window of half widths rx, ry (pixels) cut at the edge; `dst` may be `src`. */
export const boxMeanPlain: WindowFilter = (src, width, height, rx, ry = rx, dst) => {
  requirePlane(src, width, height, 'box mean');
  const out = planeOr(dst, width * height, 'box mean');
  runBox(src, width, height, Math.max(0, Math.floor(rx)), Math.max(0, Math.floor(ry)), out);
  return out;
};

/** Mean over a (2 rx + 1) × (2 ry + 1) window, cut at the edge; `dst` may be `src`. */
export const boxMean: WindowFilter = (src, width, height, rx, ry = rx, dst) => {
  const n = width * height;
  if (n < KERNEL_FROM_PIXELS) return boxMeanPlain(src, width, height, rx, ry, dst);
  requirePlane(src, width, height, 'box mean');
  const out = planeOr(dst, n, 'box mean');
  const ix = Math.max(0, Math.floor(rx));
  const iy = Math.max(0, Math.floor(ry));
  const door = kernels();
  const scope = door.scope();
  try {
    const s = scope.input(src);
    const d = scope.output(out);
    const mid = scope.allocate(4 * n);
    door.run('boxAcross', [s, mid, width, ix], height, 2 * width);
    door.run('boxDown', [mid, d, width, height, iy], width, 2 * height, 8 * width + 64);
    scope.finish();
  } finally {
    scope.close();
  }
  return out;
};
