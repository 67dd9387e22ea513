/**
 * Grey-level morphology of one plane. Rectangles by the van Herk / Gil-Werman running maximum (M. van Herk, Pattern
 * Recognition Letters 13, 1992; J. Gil, M. Werman, IEEE PAMI 15, 1993): three comparisons a pixel at any radius. The
 * window is cut at the picture's edge.
 */
import { planeOr, requirePlane, type WindowFilter } from './boundary.js';
import { KERNEL_FROM_PIXELS, kernels } from './kernels.js';

function runLine(
  line: Float32Array,
  n: number,
  r: number,
  isMax: boolean,
  g: Float32Array,
  h: Float32Array,
  out: Float32Array,
): void {
  // Padded line of n + 2r values; blocks of k = 2r + 1; g runs forward, h backward within blocks.
  const k = 2 * r + 1;
  const size = n + 2 * r;
  for (let i = 0; i < size; i++) {
    const v = line[i]!;
    g[i] = i % k === 0 ? v : isMax ? Math.max(g[i - 1]!, v) : Math.min(g[i - 1]!, v);
  }
  for (let i = size - 1; i >= 0; i--) {
    const v = line[i]!;
    h[i] = i === size - 1 || (i + 1) % k === 0 ? v : isMax ? Math.max(h[i + 1]!, v) : Math.min(h[i + 1]!, v);
  }
  for (let i = 0; i < n; i++) out[i] = isMax ? Math.max(h[i]!, g[i + 2 * r]!) : Math.min(h[i]!, g[i + 2 * r]!);
}

/** Plain twin: maximum or minimum over a (2 rx + 1) × (2 ry + 1) window; `dst` may be `src`. */
export function rankRectPlain(
  src: Float32Array,
  width: number,
  height: number,
  rx: number,
  ry: number,
  isMax: boolean,
  dst?: Float32Array,
): Float32Array {
  requirePlane(src, width, height, 'morphology');
  const out = planeOr(dst, width * height, 'morphology');
  if (out !== src) out.set(src);
  const longest = Math.max(width + 2 * rx, height + 2 * ry);
  const line = new Float32Array(longest);
  const g = new Float32Array(longest);
  const h = new Float32Array(longest);
  const res = new Float32Array(longest);
  const pad = isMax ? -Infinity : Infinity;
  if (rx > 0) {
    for (let y = 0; y < height; y++) {
      line.fill(pad);
      for (let x = 0; x < width; x++) line[x + rx] = out[y * width + x]!;
      runLine(line, width, rx, isMax, g, h, res);
      for (let x = 0; x < width; x++) out[y * width + x] = res[x]!;
    }
  }
  if (ry > 0) {
    for (let x = 0; x < width; x++) {
      line.fill(pad);
      for (let y = 0; y < height; y++) line[y + ry] = out[y * width + x]!;
      runLine(line, height, ry, isMax, g, h, res);
      for (let y = 0; y < height; y++) out[y * width + x] = res[y]!;
    }
  }
  return out;
}

function rankRect(
  src: Float32Array,
  width: number,
  height: number,
  rx: number,
  ry: number,
  isMax: boolean,
  dst?: Float32Array,
): Float32Array {
  const n = width * height;
  if (n < KERNEL_FROM_PIXELS || (rx === 0 && ry === 0)) return rankRectPlain(src, width, height, rx, ry, isMax, dst);
  requirePlane(src, width, height, 'morphology');
  const out = planeOr(dst, n, 'morphology');
  const door = kernels();
  const scope = door.scope();
  try {
    const s = scope.input(src);
    const d = scope.output(out);
    const flag = isMax ? 1 : 0;
    if (rx > 0) door.run('rankAcross', [s, d, width, rx, flag], height, 2 * width, 4 * (width + 2 * rx) + 128);
    if (ry > 0)
      door.run(
        'rankDown',
        [rx > 0 ? d : s, d, width, height, ry, flag],
        (width + 15) >> 4,
        32 * height,
        64 * (height + 2 * ry) + 128,
      );
    scope.finish();
  } finally {
    scope.close();
  }
  return out;
}

/** Largest value within a rectangle of half widths rx, ry; `dst` may be `src`. */
export const dilate: WindowFilter = (src, width, height, rx, ry = rx, dst) =>
  rankRect(src, width, height, Math.max(0, Math.round(rx)), Math.max(0, Math.round(ry)), true, dst);

/** Smallest value within a rectangle of half widths rx, ry; `dst` may be `src`. */
export const erode: WindowFilter = (src, width, height, rx, ry = rx, dst) =>
  rankRect(src, width, height, Math.max(0, Math.round(rx)), Math.max(0, Math.round(ry)), false, dst);

/** Erosion, then dilation: removes bright specks smaller than the window. */
export const open: WindowFilter = (src, width, height, rx, ry = rx, dst) => {
  const out = erode(src, width, height, rx, ry, dst);
  return dilate(out, width, height, rx, ry, out);
};

/** Dilation, then erosion: fills dark holes smaller than the window. */
export const close: WindowFilter = (src, width, height, rx, ry = rx, dst) => {
  const out = dilate(src, width, height, rx, ry, dst);
  return erode(out, width, height, rx, ry, out);
};
