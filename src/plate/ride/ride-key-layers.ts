/**
 * What moves together within a region of its key frame. A region drawn where somebody stands before it shows two
 * things with two motions; the one that fills more of it carries a fit away. Small squares are found again on a frame
 * near by through normalised correlation (J. Lewis, *Fast Normalized Cross-Correlation*, 1995), and squares that went
 * the same way are one layer, the largest taken out first (M. Black & P. Anandan, *The Robust Estimation of Multiple
 * Motions*, CVIU 63, 1996, by votes in place of a fit).
 */
import { insidePolygon } from '../../image/polygon.js';
import type { Point2 } from '../../geometry/mat3.js';

/** Squares whose ways are one. */
export interface KeyLayer {
  /** Share of all squares that told a way. */
  readonly share: number;
  /** Whether a full-size pixel of the key frame lies in it. */
  readonly belongs: (x: number, y: number) => boolean;
}

/** A plane of luma, halved once. */
interface Half {
  readonly w: number;
  readonly h: number;
  readonly data: Float32Array;
}

/**
 * Squares are so many to the region's shorter side, no smaller than `LEAST_SIDE` and no larger than `MOST_SIDE`
 * (pixels of the halved picture), half a square apart.
 */
const ACROSS = 5;
const LEAST_SIDE = 8;
const MOST_SIDE = 18;
/** How far (halved px) a square is sought for each frame of distance. */
const REACH = 12;
/** A square is told from this correlation on. */
const TOLD = 0.6;
/** Ways (px a frame) that differ by less are one: turn and size within a region add about as much. */
const ONE = 1.5;
/** Layers smaller than this share of the told squares are chance. */
const LEAST = 0.1;

/**
 * @param otherLuma another frame, `frames` after the key (negative: before): what is about to be covered is seen on one
 * side of the key alone Returns the layers, largest first; none where fewer than six squares are told.
 */
export function keyLayers(
  keyLuma: Float32Array,
  otherLuma: Float32Array,
  frames: number,
  widthPx: number,
  heightPx: number,
  polygon: readonly Point2[],
): KeyLayer[] {
  const key = halved(keyLuma, widthPx, heightPx);
  const other = halved(otherLuma, widthPx, heightPx);
  const told: { x: number; y: number; way: [number, number] }[] = [];
  const xs = polygon.map((p) => p[0] / 2);
  const ys = polygon.map((p) => p[1] / 2);
  const x0 = Math.max(1, Math.min(...xs));
  const x1 = Math.min(key.w - 2, Math.max(...xs));
  const y0 = Math.max(1, Math.min(...ys));
  const y1 = Math.min(key.h - 2, Math.max(...ys));
  const side = Math.round(Math.max(LEAST_SIDE, Math.min(MOST_SIDE, Math.min(x1 - x0, y1 - y0) / ACROSS)));
  const step = side / 2;
  for (let y = y0; y + side <= y1 + 0.5; y += step)
    for (let x = x0; x + side <= x1 + 0.5; x += step) {
      if (!insidePolygon(polygon, 2 * x + side, 2 * y + side)) continue;
      const way = sought(key, other, Math.round(x), Math.round(y), side, REACH * Math.abs(frames));
      if (way !== null)
        told.push({ x: 2 * x + side, y: 2 * y + side, way: [(2 * way[0]) / frames, (2 * way[1]) / frames] });
    }
  if (told.length < 6) return [];
  const apart = (a: readonly [number, number], b: readonly [number, number]): number =>
    Math.hypot(a[0] - b[0], a[1] - b[1]);
  const layer = new Int32Array(told.length).fill(-1);
  const shares: number[] = [];
  for (;;) {
    let best: number[] = [];
    told.forEach((t, i) => {
      if (layer[i]! >= 0) return;
      const alike = told.flatMap((o, k) => (layer[k]! < 0 && apart(o.way, t.way) < ONE ? [k] : []));
      if (alike.length > best.length) best = alike;
    });
    if (best.length < Math.max(3, LEAST * told.length)) break;
    for (const k of best) layer[k] = shares.length;
    shares.push(best.length / told.length);
  }
  // A pixel goes with the nearest square that told a way, where one lies near enough.
  const reach = 1.2 * side;
  return shares.map((share, k) => ({
    share,
    belongs: (x, y) => {
      let near = reach * reach;
      let own = -1;
      told.forEach((t, i) => {
        const d = (t.x - x) ** 2 + (t.y - y) ** 2;
        if (d < near) {
          near = d;
          own = layer[i]!;
        }
      });
      return own === k;
    },
  }));
}

function halved(luma: Float32Array, w: number, h: number): Half {
  const hw = w >> 1;
  const hh = h >> 1;
  const data = new Float32Array(hw * hh);
  for (let y = 0; y < hh; y++)
    for (let x = 0; x < hw; x++) {
      const o = 2 * y * w + 2 * x;
      data[y * hw + x] = 0.25 * (luma[o]! + luma[o + 1]! + luma[o + w]! + luma[o + w + 1]!);
    }
  return { w: hw, h: hh, data };
}

/**
 * Where a square went (halved px): first every second place, then those about the best.
 * Null where nothing looks like it.
 */
function sought(key: Half, other: Half, x: number, y: number, side: number, reach: number): [number, number] | null {
  if (x < 0 || y < 0 || x + side > key.w || y + side > key.h) return null;
  const n = side * side;
  const values = new Float32Array(n);
  let mean = 0;
  for (let j = 0, i = 0; j < side; j++)
    for (let k = 0; k < side; k++, i++) {
      values[i] = key.data[(y + j) * key.w + x + k]!;
      mean += values[i]! / n;
    }
  let energy = 0;
  for (let i = 0; i < n; i++) {
    values[i] = values[i]! - mean;
    energy += values[i]! ** 2;
  }
  if (energy < 1e-4 * n) return null;
  const at = (dx: number, dy: number, skip: number): number => {
    const ox = x + dx;
    const oy = y + dy;
    if (ox < 0 || oy < 0 || ox + side > other.w || oy + side > other.h) return -1;
    let s = 0;
    let ss = 0;
    let ts = 0;
    let m = 0;
    for (let j = 0; j < side; j += skip) {
      const row = (oy + j) * other.w + ox;
      for (let k = 0; k < side; k++) {
        const v = other.data[row + k]!;
        s += v;
        ss += v * v;
        ts += v * values[j * side + k]!;
      }
      m += side;
    }
    const spread = ss - (s * s) / m;
    return spread > 1e-6 * m ? ts / Math.sqrt((energy / skip) * spread) : 0;
  };
  let best = -1;
  let bx = 0;
  let by = 0;
  for (let dy = -reach; dy <= reach; dy += 2)
    for (let dx = -reach; dx <= reach; dx += 2) {
      const v = at(dx, dy, 2);
      if (v > best) {
        best = v;
        bx = dx;
        by = dy;
      }
    }
  best = -1;
  const cx = bx;
  const cy = by;
  for (let dy = cy - 2; dy <= cy + 2; dy++)
    for (let dx = cx - 2; dx <= cx + 2; dx++) {
      const v = at(dx, dy, 1);
      if (v > best) {
        best = v;
        bx = dx;
        by = dy;
      }
    }
  return best < TOLD ? null : [bx, by];
}
