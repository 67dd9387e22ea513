/**
 * One way written by another: a quadratic in place and a linear map of the way to a helper frame, fitted by least
 * squares with Tukey weights where both ways are known (see hidden-motion.ts for why that holds on a rigid set).
 */
import type { Way } from './way-between.js';
import { solveCholesky } from '../../geometry/linear-solve.js';
import { median, percentile } from '../../image/statistics.js';

const CAP_PX = 2;
/** Terms: six of place, then the helper's way and its products with place. */
export const TERMS = 12;
/** Prior on the terms of the way: about one, its products with place about a third. */
const PRIOR_PX = 0.25;

/** Writes the terms of a pixel into `row`: place, quadratic, and the way `a` there with its products with place. */
export function termsOf(a: Way, row: Float64Array, width: number, height: number): (i: number) => void {
  const cx = width / 2,
    cy = height / 2,
    s = Math.max(width, height) / 2;
  return (i) => {
    const x = ((i % width) - cx) / s,
      y = (Math.floor(i / width) - cy) / s,
      au = a.u[i]!,
      av = a.v[i]!;
    row[0] = 1;
    row[1] = x;
    row[2] = y;
    row[3] = x * x;
    row[4] = x * y;
    row[5] = y * y;
    row[6] = au;
    row[7] = av;
    row[8] = x * au;
    row[9] = y * au;
    row[10] = x * av;
    row[11] = y * av;
  };
}

interface Mapped {
  /** The map's way for every point whose way to the helper is known. */
  readonly u: Float32Array;
  readonly v: Float32Array;
  /** Where the way to the frame is known too: what the map leaves over of it, and its weight. */
  readonly du: Float32Array;
  readonly dv: Float32Array;
  readonly say: Float32Array;
}

/**
 * The map's ways, px, for every point whose way `a` to the helper is known, and what they leave over of the way `b` to
 * the frame, where that is known too and the map fits (within four times what it left at its fit, or half a pixel).
 * @param terms fills `row` with the map's terms at a point
 */
export function mapped(map: WayMap, a: Way, b: Way, terms: (i: number) => void, row: Float64Array): Mapped {
  const n = a.known.length;
  const u = new Float32Array(n),
    v = new Float32Array(n),
    du = new Float32Array(n),
    dv = new Float32Array(n),
    say = new Float32Array(n);
  const bound = Math.max(0.5, 4 * map.left);
  for (let i = 0; i < n; i++) {
    if (a.known[i] === 0) continue;
    terms(i);
    let p = 0,
      q = 0;
    for (let k = 0; k < TERMS; k++) {
      p += map.u[k]! * row[k]!;
      q += map.v[k]! * row[k]!;
    }
    u[i] = p;
    v[i] = q;
    if (b.known[i] === 0) continue;
    const eu = b.u[i]! - p,
      ev = b.v[i]! - q;
    if (Math.abs(eu) < bound && Math.abs(ev) < bound) {
      du[i] = eu;
      dv[i] = ev;
      say[i] = 0.05;
    }
  }
  return { u, v, du, dv, say };
}

interface WayMap {
  readonly u: Float64Array;
  readonly v: Float64Array;
  /**
   * Median of what is left, what 85 in a hundred stay under, and its root mean square, each point counted up to
   * CAP_PX; px. Parallax may be that of few points, and then a few wrong ways may hide it.
   */
  readonly left: number;
  readonly most: number;
  readonly far: number;
}

/** Least squares with Tukey weights of the way `b` on the first `count` terms. */
export function fitMap(
  points: readonly number[],
  terms: (i: number) => void,
  row: Float64Array,
  b: Way,
  count: number,
): WayMap | null {
  const u = new Float64Array(TERMS),
    v = new Float64Array(TERMS),
    e = new Float64Array(points.length);
  let left = Infinity,
    most = Infinity,
    far = Infinity;
  for (let round = 0; round < 6; round++) {
    const c = round === 0 ? Infinity : 4.685 * Math.max(0.05, left);
    const A = new Float64Array(count * count),
      p = new Float64Array(count),
      q = new Float64Array(count);
    for (let k = 0; k < points.length; k++) {
      const i = points[k]!;
      // The first round leaves out nothing; its scale is the largest.
      const t = round === 0 ? 1 : e[k]! >= c ? 0 : (1 - (e[k]! / c) ** 2) ** 2;
      if (t === 0) continue;
      terms(i);
      for (let r = 0; r < count; r++) {
        const g = t * row[r]!;
        p[r] = p[r]! + g * b.u[i]!;
        q[r] = q[r]! + g * b.v[i]!;
        for (let d = r; d < count; d++) A[r * count + d] = A[r * count + d]! + g * row[d]!;
      }
    }
    for (let r = 0; r < count; r++) {
      A[r * count + r] = A[r * count + r]! + (r < 6 ? 1e-3 : PRIOR_PX ** 2 * (r < 8 ? 10 : 100));
      for (let d = 0; d < r; d++) A[r * count + d] = A[d * count + r]!;
    }
    const a = solveCholesky(A.slice(), p, count),
      k2 = solveCholesky(A, q, count);
    if (a === null || k2 === null) return null;
    u.set(a);
    v.set(k2);
    for (let k = 0; k < points.length; k++) {
      const i = points[k]!;
      terms(i);
      let x = 0,
        y = 0;
      for (let r = 0; r < count; r++) {
        x += u[r]! * row[r]!;
        y += v[r]! * row[r]!;
      }
      e[k] = Math.hypot(b.u[i]! - x, b.v[i]! - y);
    }
    left = median(e);
    most = percentile(e, 85);
    far = Math.sqrt(e.reduce((sum, v) => sum + Math.min(CAP_PX, v) ** 2, 0) / e.length);
  }
  return { u, v, left, most, far };
}
