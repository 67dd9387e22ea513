/**
 * Exact Euclidean distance transform: P. F. Felzenszwalb, D. P. Huttenlocher, "Distance
 * transforms of sampled functions", Theory of Computing 8, 2012: lower envelope of parabolas
 * along rows over the distances within columns, linear in the number of pixels.
 */
import { planeOr, requirePlane } from './boundary.js';

const FAR = 1e20;

function transformLine(
  f: Float64Array,
  n: number,
  d: Float64Array,
  v: Int32Array,
  z: Float64Array,
  arg: Int32Array,
): void {
  let k = 0;
  v[0] = 0;
  z[0] = -Infinity;
  z[1] = Infinity;
  for (let q = 1; q < n; q++) {
    let s = 0;
    for (;;) {
      const p = v[k]!;
      s = (f[q]! + q * q - (f[p]! + p * p)) / (2 * q - 2 * p);
      if (s > z[k]! || k === 0) break;
      k--;
    }
    if (s <= z[k]!) {
      v[k] = q;
      z[k + 1] = Infinity;
      continue;
    }
    k++;
    v[k] = q;
    z[k] = s;
    z[k + 1] = Infinity;
  }
  k = 0;
  for (let q = 0; q < n; q++) {
    while (z[k + 1]! < q) k++;
    const p = v[k]!;
    d[q] = (q - p) * (q - p) + f[p]!;
    arg[q] = p;
  }
}

/** How far the nearest set pixel is from each, and which it is. */
export interface NearestResult {
  /** Pixels from centre to centre of the nearest set pixel; 1e10 where no pixel is set. */
  readonly distance: Float32Array;
  /** Index (y · width + x) of that pixel; meaningless where no pixel is set. */
  readonly nearest: Int32Array;
}

/**
 * Squared distance to the nearest set pixel of the own column, FAR where it has none, and its row: for a set of yes and
 * no the lower envelope down a column is one look from above and one from below. Of two as near the upper one.
 */
function nearestInColumns(
  set: ArrayLike<number>,
  width: number,
  height: number,
): { readonly squared: Float64Array; readonly row: Int32Array } {
  const n = width * height,
    squared = new Float64Array(n),
    row = new Int32Array(n);
  for (let i = 0, y = 0; y < height; y++)
    for (let x = 0; x < width; x++, i++) row[i] = set[i]! !== 0 ? y : y > 0 ? row[i - width]! : -1;
  for (let y = height - 1; y >= 0; y--)
    for (let x = 0, i = y * width; x < width; x++, i++) {
      const above = row[i]!,
        // Rows farther down have their nearest already.
        below = y + 1 < height ? row[i + width]! : -1;
      if (above !== y && below > y && (above < 0 || below - y < y - above)) row[i] = below;
      const d = row[i]! - y;
      squared[i] = row[i]! < 0 ? FAR : d * d;
    }
  return { squared, row };
}

/** For every pixel the distance to the nearest non-zero pixel of `set` and which one that is. */
export function nearestInSet(set: ArrayLike<number>, width: number, height: number): NearestResult {
  requirePlane(set, width, height, 'distance transform');
  const f = new Float64Array(width),
    d = new Float64Array(width),
    z = new Float64Array(width + 1),
    v = new Int32Array(width),
    arg = new Int32Array(width),
    { squared, row } = nearestInColumns(set, width, height),
    distance = new Float32Array(width * height),
    nearest = new Int32Array(width * height);
  for (let y = 0; y < height; y++) {
    const o = y * width;
    f.set(squared.subarray(o, o + width));
    transformLine(f, width, d, v, z, arg);
    for (let x = 0; x < width; x++) {
      distance[o + x] = Math.sqrt(d[x]!);
      nearest[o + x] = row[o + arg[x]!]! * width + arg[x]!;
    }
  }
  return { distance, nearest };
}

/**
 * Distance in pixels, centre to centre, from each pixel to the nearest non-zero pixel of `set` (0 on the set itself).
 */
export function distanceToSet(set: ArrayLike<number>, width: number, height: number, dst?: Float32Array): Float32Array {
  const out = planeOr(dst, width * height, 'distance transform');
  out.set(nearestInSet(set, width, height).distance);
  return out;
}

/**
 * Signed distance to the edge of {plane ≥ threshold}: positive inside, negative outside, zero
 * half-way between an inside and an outside pixel.
 */
export function signedDistance(
  plane: Float32Array,
  width: number,
  height: number,
  threshold = 0.5,
  dst?: Float32Array,
): Float32Array {
  const out = planeOr(dst, width * height, 'signed distance');
  const inside = new Uint8Array(width * height);
  const outside = new Uint8Array(width * height);
  for (let i = 0; i < inside.length; i++) {
    const within = plane[i]! >= threshold;
    inside[i] = within ? 1 : 0;
    outside[i] = within ? 0 : 1;
  }
  const toInside = distanceToSet(inside, width, height);
  const toOutside = distanceToSet(outside, width, height);
  for (let i = 0; i < inside.length; i++) out[i] = inside[i] === 1 ? toOutside[i]! - 0.5 : 0.5 - toInside[i]!;
  return out;
}
