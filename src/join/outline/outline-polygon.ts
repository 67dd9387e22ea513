/**
 * A mask as one closed line and back. Parts apart and hollows hang on the same line by seams of no width, walked there
 * and back, so that the winding number is right everywhere. The border's stairs are smoothed away; where it runs along
 * the picture's edge it is drawn a little beyond it, so that nothing of a performer that is cut off there is lost.
 */
import { thinPolygon, traceOutline, type Corner } from '../../image/outline.js';
import { rasterizePolygon, type Point } from '../../image/polygon.js';
import { labelAreas } from '../peel/label-areas.js';

/** Parts and hollows under these shares of the whole are left out. */
const LEAST_PART = 0.01,
  LEAST_HOLLOW = 0.002;
/** Border steps over which stairs are smoothed (sd), and small pixels beyond the picture's edge. */
const SMOOTH = 2,
  BEYOND = 3;

/**
 * @param mask of small pixels of `block` picture pixels
 * @param tolerance picture pixels
 * @returns in picture pixels; empty for an empty mask
 */
export function outlinePolygon(
  mask: Uint8Array,
  w: number,
  h: number,
  block: number,
  tolerance: number,
): [number, number][] {
  const parts = labelAreas(mask, w, h),
    holes = labelAreas(
      mask.map((v) => 1 - v),
      w,
      h,
    ),
    all = parts.area.reduce((s, a) => s + a, 0),
    open = new Uint8Array(holes.area.length);
  for (let x = 0; x < w; x++) open[holes.labels[x]!] = open[holes.labels[(h - 1) * w + x]!] = 1;
  for (let y = 0; y < h; y++) open[holes.labels[y * w]!] = open[holes.labels[y * w + w - 1]!] = 1;
  const rings: Corner[][] = [];
  const largest = Array.from(parts.area, (a, l) => ({ a, l }))
    .filter((q) => q.a > 0)
    .sort((p, q) => q.a - p.a);
  largest.forEach(({ a, l }, k) => {
    if (k === 0 || a >= LEAST_PART * all) rings.push(ring(parts.labels, l, w, h, block, tolerance));
  });
  holes.area.forEach((a, l) => {
    if (l > 0 && open[l] === 0 && a >= LEAST_HOLLOW * all && a > 6)
      rings.push(ring(holes.labels, l, w, h, block, tolerance).reverse());
  });
  const first = rings.shift();
  if (first === undefined) return [];
  let line: Corner[] = first;
  for (const r of rings) if (r.length >= 3) line = joined(line, r);
  return line.map(([x, y]) => [Math.round(10 * x) / 10, Math.round(10 * y) / 10]);
}

function ring(labels: Int32Array, label: number, w: number, h: number, block: number, tolerance: number): Corner[] {
  const walk = traceOutline(
      Uint8Array.from(labels, (l) => (l === label ? 1 : 0)),
      w,
      h,
    ),
    n = walk.length;
  const reach = Math.min(Math.ceil(2.5 * SMOOTH), n >> 3),
    taps = Array.from({ length: 2 * reach + 1 }, (_, k) => Math.exp(-((k - reach) ** 2) / (2 * SMOOTH * SMOOTH))),
    sum = taps.reduce((s, t) => s + t, 0);
  const smooth = walk.map(([x, y], i): Corner => {
    if (x === 0 || y === 0 || x === w || y === h)
      return [
        x === 0 ? -BEYOND * block : x === w ? (w + BEYOND) * block : x * block,
        y === 0 ? -BEYOND * block : y === h ? (h + BEYOND) * block : y * block,
      ];
    let u = 0,
      v = 0;
    taps.forEach((t, k) => {
      const p = walk[(i + k - reach + n) % n]!;
      u += t * p[0];
      v += t * p[1];
    });
    return [(block * u) / sum, (block * v) / sum];
  });
  return thinPolygon(smooth, tolerance);
}

/** One line of two, by the shortest seam between them. */
function joined(line: readonly Corner[], other: readonly Corner[]): Corner[] {
  let best = Infinity,
    at = 0,
    to = 0;
  line.forEach((p, i) =>
    other.forEach((q, j) => {
      const d = (p[0] - q[0]) ** 2 + (p[1] - q[1]) ** 2;
      if (d < best) {
        best = d;
        at = i;
        to = j;
      }
    }),
  );
  return [...line.slice(0, at + 1), ...other.slice(to), ...other.slice(0, to + 1), ...line.slice(at)];
}

/** Small pixels of which the line covers half and more. */
export function outlineMask(polygon: readonly Point[], w: number, h: number, block: number): Uint8Array {
  return Uint8Array.from(
    rasterizePolygon(
      polygon.map(([x, y]) => [x / block, y / block] as const),
      w,
      h,
    ),
    (v) => (v >= 0.5 ? 1 : 0),
  );
}
