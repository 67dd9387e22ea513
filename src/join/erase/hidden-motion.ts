/**
 * How what a frame hides moved there, told by how it moves while it is seen. Between two frames of a rigid set every
 * point's way is its plane's and a parallax that hangs on its depth; the ways between any frames of one short stretch
 * therefore span a space of few dimensions (M. Irani, "Multi-frame correspondence estimation using subspace
 * constraints", IJCV 48, 2002). A source's way to the frame, known only outside what is hidden, is written there as a
 * quadratic in place and a linear map of its way to a helper frame, in which the same points are seen too; inside, the
 * same map of that known way says where each point lies in the frame. So a near post crosses the hidden part at its own
 * depth. What such a map leaves over along the border is carried inside smoothly (push-pull). Planes height × width of
 * display-coded luma; lengths in pixels.
 */
import { solveCholesky } from '../../geometry/linear-solve.js';
import { FlowPicture, motionAt } from '../../image/flow.js';
import { blurPlane, gaussianPlane } from '../../image/gaussian.js';
import { pushPull } from '../../image/push-pull.js';
import { median, percentile } from '../../image/statistics.js';
import type { LocalField } from './field-cells.js';
import { lightBetween, structureOf } from './local-field.js';

/** A picture over the frame's own pixels, and 1 where it shows the set. */
export interface Shown {
  readonly luma: Float32Array;
  readonly open: Float32Array;
  /** Kept by `hiddenMotion`: the luma, gone on smoothly where it hides. */
  filled?: Float32Array;
}

/**
 * A way is believed where the two pictures, so brought together, differ by no more (coded, smoothed), or by no more
 * than this share of the local contrast.
 */
const MOST_LEFT = 0.03;
/** Points whose surroundings tell less of place (0..1) have no say in the map. */
const TELLS = 0.3;
/** Points by which the map is found. */
const POINTS = 3000;
const LEAST_POINTS = 300;
/** The map must take away so much of what a smooth field leaves over, and that must be worth it (px). */
const HELPS = 0.85;
const WORTH = 0.1;
const CAP_PX = 2;
/** Terms: six of place, then the helper's way and its products with place. */
const TERMS = 12;
/** Prior on the terms of the way: about one, its products with place about a third. */
const PRIOR_PX = 0.25;

export interface HiddenMotion {
  /** The place in the source that shows what the frame shows, or hides, at (x, y) is (x, y) + field. */
  readonly field: LocalField;
  /** 1 where some point of the source was carried to, of those whose way is known. */
  readonly told: Float32Array;
}

/**
 * Motion of the source to the frame inside what the frame hides; null where a smooth field tells as much or too little
 * is seen.
 */
export function hiddenMotion(
  source: Shown,
  helper: Shown,
  frame: Shown,
  width: number,
  height: number,
  reachPx: number,
): HiddenMotion | null {
  if (width < 48 || height < 48) return null;
  const a = wayBetween(source, helper, width, height),
    b = wayBetween(source, frame, width, height);
  if (a === null || b === null) return null;
  const chosen = pointsOf(a, b, reachPx);
  if (chosen === null) return null;
  const rows = new Float64Array(TERMS),
    terms = termsOf(a, rows, width, height);
  const smooth = fitMap(chosen, terms, rows, b, 6),
    map = fitMap(chosen, terms, rows, b, TERMS);
  if (smooth === null || map === null || !(helps(smooth.far, map.far) || helps(smooth.most, map.most))) return null;
  const { u, v, du, dv, say } = mapped(map, a, b, terms, rows);
  // What the map leaves over beside the hidden part goes on inside.
  const [ru, rv] = pushPull([du, dv], say, width, height);
  return carryOver(u, v, ru!, rv!, a, width, height, reachPx);
}

/** Points by which the map is found, spread over those whose both ways are known; null where there are too few. */
function pointsOf(a: Way, b: Way, reachPx: number): number[] | null {
  const both: number[] = [];
  for (let i = 0; i < a.known.length; i++)
    if (
      a.known[i] === 1 &&
      b.known[i] === 1 &&
      a.tells[i]! > TELLS &&
      Math.abs(b.u[i]!) < reachPx &&
      Math.abs(b.v[i]!) < reachPx
    )
      both.push(i);
  if (both.length < LEAST_POINTS) return null;
  const every = Math.max(1, both.length / POINTS),
    chosen: number[] = [];
  for (let k = 0; k < both.length; k += every) chosen.push(both[Math.floor(k)]!);
  return chosen;
}

/** Writes the terms of a pixel into `row`: place, quadratic, and the way `a` there with its products with place. */
function termsOf(a: Way, row: Float64Array, width: number, height: number): (i: number) => void {
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

function mapped(map: WayMap, a: Way, b: Way, terms: (i: number) => void, row: Float64Array): Mapped {
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

function helps(before: number, after: number): boolean {
  return before > WORTH && after < HELPS * before;
}

interface Way {
  readonly u: Float32Array;
  readonly v: Float32Array;
  /** 1 where it is believed. */
  readonly known: Uint8Array;
  /** How much the surroundings tell of place, 0..1. */
  readonly tells: Float32Array;
}

/** Dense motion from one picture to another, and where it explains what is seen. */
function wayBetween(from: Shown, to: Shown, w: number, h: number): Way | null {
  const n = w * h,
    both = new Float32Array(n);
  let count = 0;
  for (let i = 0; i < n; i++)
    if (from.open[i]! > 0.5 && to.open[i]! > 0.5) {
      both[i] = 1;
      count++;
    }
  if (count < LEAST_POINTS) return null;
  // What one of them hides is made smooth in each by itself: texture there would say that nothing moves.
  const light = lightBetween(from.luma, to.luma, both);
  const p = filled(from, w, h),
    q = scaled(filled(to, w, h), 1 / light);
  const a = new FlowPicture(blurPlane(p, w, h, 0.7), w, h),
    b = new FlowPicture(blurPlane(q, w, h, 0.7), w, h);
  let u: Float32Array, v: Float32Array;
  try {
    ({ u, v } = motionAt(a, b, 0, { alpha: 4, outer: 3, sweeps: 6 }));
  } finally {
    a.close();
    b.close();
  }
  const left = new Float32Array(n),
    open = new Uint8Array(n);
  for (let y = 0, i = 0; y < h; y++)
    for (let x = 0; x < w; x++, i++) {
      const px = x + u[i]!,
        py = y + v[i]!;
      if (!(from.open[i]! > 0.5) || !(px >= 0 && py >= 0 && px <= w - 1 && py <= h - 1)) continue;
      const x0 = Math.min(w - 2, Math.floor(px)),
        y0 = Math.min(h - 2, Math.floor(py)),
        fx = px - x0,
        fy = py - y0,
        o = y0 * w + x0;
      if (!(to.open[o]! > 0.5 && to.open[o + 1]! > 0.5 && to.open[o + w]! > 0.5 && to.open[o + w + 1]! > 0.5)) continue;
      left[i] =
        ((q[o]! * (1 - fx) + q[o + 1]! * fx) * (1 - fy) + (q[o + w]! * (1 - fx) + q[o + w + 1]! * fx) * fy - p[i]!) **
        2;
      open[i] = 1;
    }
  const mean = gaussianPlane(left, w, h, 1.5),
    share = gaussianPlane(Float32Array.from(open), w, h, 1.5);
  for (let i = 0; i < n; i++) if (open[i] === 1 && mean[i]! > MOST_LEFT ** 2 * share[i]!) open[i] = 0;
  // Where nothing tells of place the way is that of the surroundings which do.
  const tells = structureOf(p, w, h),
    say = new Float32Array(n);
  for (let i = 0; i < n; i++) if (open[i] === 1) say[i] = Math.max(1e-4, tells[i]! * tells[i]!);
  const [su, sv] = pushPull([u, v], say, w, h);
  return { u: su!, v: sv!, known: open, tells };
}

/** What is shown, gone on smoothly where it hides; kept with the picture, which is compared with many. */
function filled(s: Shown, w: number, h: number): Float32Array {
  if (s.filled !== undefined) return s.filled;
  const say = new Float32Array(w * h);
  for (let i = 0; i < say.length; i++) say[i] = s.open[i]! > 0.5 ? 1 : 0;
  const out = pushPull([s.luma], say, w, h)[0]!;
  for (let i = 0; i < out.length; i++) if (say[i] === 1) out[i] = s.luma[i]!;
  s.filled = out;
  return out;
}

function scaled(p: Float32Array, gain: number): Float32Array {
  const out = new Float32Array(p.length);
  for (let i = 0; i < p.length; i++) out[i] = gain * p[i]!;
  return out;
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
function fitMap(
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

/**
 * Each point of the source goes where its way leads; of several at one place the one that parts most from the rest, as
 * near things do.
 */
function carryOver(
  u: Float32Array,
  v: Float32Array,
  ru: Float32Array,
  rv: Float32Array,
  a: Way,
  w: number,
  h: number,
  reach: number,
): HiddenMotion {
  const n = w * h,
    swift = new Float32Array(n).fill(-1),
    sum = new Float32Array(n),
    fu = new Float32Array(n),
    fv = new Float32Array(n);
  const each = (take: (o: number, share: number, speed: number, x: number, y: number) => void): void => {
    for (let y = 0, i = 0; y < h; y++)
      for (let x = 0; x < w; x++, i++) {
        if (a.known[i] === 0) continue;
        const du = u[i]! + ru[i]!,
          dv = v[i]! + rv[i]!;
        if (Math.abs(du) > reach || Math.abs(dv) > reach) continue;
        const px = x + du,
          py = y + dv,
          x0 = Math.floor(px),
          y0 = Math.floor(py),
          speed = Math.hypot(du, dv);
        for (let k = 0; k < 4; k++) {
          const X = x0 + (k & 1),
            Y = y0 + (k >> 1);
          if (X < 0 || Y < 0 || X >= w || Y >= h) continue;
          const share = (1 - Math.abs(px - X)) * (1 - Math.abs(py - Y));
          if (share > 0.02) take(Y * w + X, share, speed, du, dv);
        }
      }
  };
  each((o, share, speed) => {
    if (share > 0.2 && speed > swift[o]!) swift[o] = speed;
  });
  each((o, share, speed, x, y) => {
    if (speed < swift[o]! - 1.5) return;
    sum[o] = sum[o]! + share;
    fu[o] = fu[o]! - share * x;
    fv[o] = fv[o]! - share * y;
  });
  const told = new Float32Array(n);
  for (let i = 0; i < n; i++)
    if (sum[i]! > 0.25) {
      fu[i] = fu[i]! / sum[i]!;
      fv[i] = fv[i]! / sum[i]!;
      told[i] = 1;
    }
  const [x, y] = pushPull([fu, fv], told, w, h);
  return { field: { cellPx: 1, columns: w, rows: h, u: x!, v: y! }, told };
}
