/**
 * Exact Euclidean distance transform: P. F. Felzenszwalb, D. P. Huttenlocher, "Distance
 * transforms of sampled functions", Theory of Computing 8, 2012: lower envelope of parabolas,
 * columns then rows, linear in the number of pixels.
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

export interface NearestResult {
  /** Pixels from centre to centre of the nearest set pixel; 1e10 where no pixel is set. */
  readonly distance: Float32Array;
  /** Index (y · width + x) of that pixel; meaningless where no pixel is set. */
  readonly nearest: Int32Array;
}

/** For every pixel the distance to the nearest non-zero pixel of `set` and which one that is. */
export function nearestInSet(set: ArrayLike<number>, width: number, height: number): NearestResult {
  requirePlane(set, width, height, 'distance transform');
  const n = Math.max(width, height);
  const f = new Float64Array(n);
  const d = new Float64Array(n);
  const z = new Float64Array(n + 1);
  const v = new Int32Array(n);
  const arg = new Int32Array(n);
  const columns = new Float64Array(width * height);
  const columnArg = new Int32Array(width * height);
  for (let x = 0; x < width; x++) {
    for (let y = 0; y < height; y++) f[y] = set[y * width + x]! !== 0 ? 0 : FAR;
    transformLine(f, height, d, v, z, arg);
    for (let y = 0; y < height; y++) {
      columns[y * width + x] = d[y]!;
      columnArg[y * width + x] = arg[y]!;
    }
  }
  const distance = new Float32Array(width * height);
  const nearest = new Int32Array(width * height);
  for (let y = 0; y < height; y++) {
    const o = y * width;
    for (let x = 0; x < width; x++) f[x] = columns[o + x]!;
    transformLine(f, width, d, v, z, arg);
    for (let x = 0; x < width; x++) {
      distance[o + x] = Math.sqrt(d[x]!);
      nearest[o + x] = columnArg[o + arg[x]!]! * width + arg[x]!;
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
