/**
 * Where each pixel of a marked part of a body is found in another picture of the same body, turned otherwise: an affine
 * map, and the turn of what stands out: a dome over the outline, whose top shifts against its rim as the body yaws and
 * nods (the rigid motion of a curved thing seen from afar: M. J. Black, Y. Yacoob, "Recognizing facial expressions in
 * image sequences using local parameterized models of image motion", IJCV 25, 1997). So few numbers can't follow a
 * mouth that opens, and shall not: what it says is what is wanted. Fitted straight to the pictures by Gauss-Newton,
 * coarse to fine, with Tukey's weights (S. Baker, I. Matthews, "Lucas-Kanade 20 years on", IJCV 56, 2004), on luma
 * freed of its local mean and contrast, so that another light matters little.
 *
 * Displacement of pixel (x, y), with X, Y its place about the outline's middle in radii and z the dome:
 * u = θ₀ + θ₁X + θ₂Y + θ₃z, v = θ₄ + θ₅X + θ₆Y + θ₇z; px.
 */
import { boundsOf } from '../../geometry/bounds.js';
import type { Mat3, Point2 } from '../../geometry/mat3.js';
import { solveCholesky } from '../../geometry/linear-solve.js';
import { blurPlane } from '../../image/gaussian.js';
import { rasterizePolygon } from '../../image/polygon.js';
import { halfSize, halve } from '../../image/pyramid.js';
import { sampleBilinear } from '../../image/sampling.js';
import { median } from '../../image/statistics.js';

/** The eight numbers θ, px. */
export type PartPose = Float64Array;

/** Middle and half extents of the outline, and their mean. */
export interface PartShape {
  readonly cx: number;
  readonly cy: number;
  readonly rx: number;
  readonly ry: number;
  readonly r: number;
}

/** Middle, half sides and mean radius of a part's bounds, px. */
export function partShape(polygon: readonly Point2[]): PartShape {
  const [x0, y0, x1, y1] = boundsOf(polygon);
  const rx = Math.max(1, (x1 - x0) / 2),
    ry = Math.max(1, (y1 - y0) / 2);
  return { cx: (x0 + x1) / 2, cy: (y0 + y1) / 2, rx, ry, r: Math.sqrt(rx * ry) };
}

/** 1 at the middle, 0 along the outline; it goes on beyond it for a while. */
function domeAt(s: PartShape, x: number, y: number): number {
  return Math.max(-1.5, 1 - ((x - s.cx) / s.rx) ** 2 - ((y - s.cy) / s.ry) ** 2);
}

/** Where the pixel's counterpart is. */
export function placeOf(s: PartShape, p: PartPose, x: number, y: number): [number, number] {
  const X = (x - s.cx) / s.r,
    Y = (y - s.cy) / s.r,
    z = domeAt(s, x, y);
  return [x + p[0]! + p[1]! * X + p[2]! * Y + p[3]! * z, y + p[4]! + p[5]! * X + p[6]! * Y + p[7]! * z];
}

/** The pose that says what an affine map says. */
export function poseOf(s: PartShape, m: Mat3): PartPose {
  return Float64Array.of(
    m[0] * s.cx + m[1] * s.cy + m[2] - s.cx,
    (m[0] - 1) * s.r,
    m[1] * s.r,
    0,
    m[3] * s.cx + m[4] * s.cy + m[5] - s.cy,
    m[3] * s.r,
    (m[4] - 1) * s.r,
    0,
  );
}

/** Luma freed of its local mean and contrast. */
function featureOf(luma: Float32Array, width: number, height: number, reachPx: number): Float32Array {
  const soft = blurPlane(luma, width, height, 0.8),
    mean = blurPlane(soft, width, height, reachPx),
    square = new Float32Array(luma.length);
  for (let i = 0; i < luma.length; i++) {
    const d = soft[i]! - mean[i]!;
    soft[i] = d;
    square[i] = d * d;
  }
  const contrast = blurPlane(square, width, height, reachPx);
  // Grain alone is no feature.
  for (let i = 0; i < luma.length; i++) soft[i] = soft[i]! / (Math.sqrt(contrast[i]!) + 0.015);
  return soft;
}

interface PartView {
  readonly x0: number;
  readonly y0: number;
  readonly levels: readonly { readonly width: number; readonly height: number; readonly data: Float32Array }[];
}

/** A picture's luma as features over a box, as many levels as leave the radius 7 pixels. */
function viewOf(
  luma: Float32Array,
  width: number,
  height: number,
  box: readonly [number, number, number, number],
  r: number,
): PartView {
  const x0 = Math.max(0, Math.floor(box[0])),
    y0 = Math.max(0, Math.floor(box[1])),
    x1 = Math.min(width, Math.ceil(box[2])),
    y1 = Math.min(height, Math.ceil(box[3]));
  let w = Math.max(1, x1 - x0),
    h = Math.max(1, y1 - y0),
    data: Float32Array = new Float32Array(w * h);
  for (let y = 0; y < h; y++) data.set(luma.subarray((y + y0) * width + x0, (y + y0) * width + x0 + w), y * w);
  const levels = [],
    most = Math.max(1, Math.min(5, Math.floor(Math.log2(r / 7)) + 1));
  for (let k = 0; k < most; k++) {
    levels.push({ width: w, height: h, data: featureOf(data, w, h, Math.max(3, r / 2 ** k / 3)) });
    if (Math.min(w, h) < 24) break;
    data = halve(data, w, h);
    w = halfSize(w);
    h = halfSize(h);
  }
  return { x0, y0, levels };
}

function read(v: PartView, k: number, x: number, y: number): number {
  const l = v.levels[k]!,
    f = 2 ** -k;
  return sampleBilinear(l.data, l.width, l.height, (x - v.x0) * f, (y - v.y0) * f);
}

const MOST_POINTS = 1600;
/** A part's surroundings move with it, as far as this many times its outline. */
const AROUND = 1.4;
/** How far shape and turn are believed to leave the start, in radii. */
const SHAPE_SD = 0.1,
  TURN_SD = 0.15;

interface Points {
  readonly x: Float64Array;
  readonly y: Float64Array;
  readonly value: Float32Array;
}

export interface PartFit {
  readonly shape: PartShape;
  readonly pose: PartPose;
  /** Correlation of the features, −1 to 1, of the start and of the fit. */
  readonly before: number;
  readonly alike: number;
}

export interface Luma {
  readonly luma: Float32Array;
  readonly width: number;
  readonly height: number;
}

/**
 * Fits the pose that finds `target`'s part in `source`, from each of the starts; the likest.
 * @param target, source display-coded luma @param polygon the part on the target @param starts at least one
 */
export function fitPart(target: Luma, polygon: readonly Point2[], source: Luma, starts: readonly PartPose[]): PartFit {
  const shape = partShape(polygon),
    far = 2 * Math.max(shape.rx, shape.ry) + 8;
  let x0 = Infinity,
    y0 = Infinity,
    x1 = -Infinity,
    y1 = -Infinity;
  for (const p of starts) {
    const [x, y] = placeOf(shape, p, shape.cx, shape.cy),
      reach = far * (1 + Math.max(0, p[1]!, p[6]!) / shape.r);
    x0 = Math.min(x0, x - reach);
    y0 = Math.min(y0, y - reach);
    x1 = Math.max(x1, x + reach);
    y1 = Math.max(y1, y + reach);
  }
  const here = viewOf(
      target.luma,
      target.width,
      target.height,
      [shape.cx - far, shape.cy - far, shape.cx + far, shape.cy + far],
      shape.r,
    ),
    there = viewOf(source.luma, source.width, source.height, [x0, y0, x1, y1], shape.r);
  const top = Math.min(here.levels.length, there.levels.length) - 1,
    points = pointsOf(here, polygon, shape, target.width, target.height, top);
  let best: PartFit | null = null;
  for (const start of starts) {
    const pose = start.slice(),
      before = likeness(points[0]!, shape, pose, there);
    for (let l = top; l >= 0; l--) fitLevel(points[l]!, l, shape, start, pose, there);
    const alike = likeness(points[0]!, shape, pose, there),
      kept = alike > before;
    if (best === null || Math.max(alike, before) > best.alike)
      best = { shape, pose: kept ? pose : start.slice(), before, alike: Math.max(alike, before) };
  }
  return best!;
}

function pointsOf(
  view: PartView,
  polygon: readonly Point2[],
  shape: PartShape,
  width: number,
  height: number,
  top: number,
): Points[] {
  const wide = polygon.map(
    ([x, y]): Point2 => [shape.cx + AROUND * (x - shape.cx), shape.cy + AROUND * (y - shape.cy)],
  );
  const xs: number[] = [],
    ys: number[] = [];
  const reach = AROUND * Math.max(shape.rx, shape.ry) + 2,
    x0 = Math.max(0, Math.floor(shape.cx - reach)),
    y0 = Math.max(0, Math.floor(shape.cy - reach)),
    w = Math.max(1, Math.min(width, Math.ceil(shape.cx + reach)) - x0),
    h = Math.max(1, Math.min(height, Math.ceil(shape.cy + reach)) - y0);
  const all = rasterizePolygon(
    wide.map(([x, y]): Point2 => [x - x0, y - y0]),
    w,
    h,
  );
  for (let i = 0; i < all.length; i++)
    if (all[i]! > 0.5) {
      xs.push(x0 + (i % w) + 0.5);
      ys.push(y0 + Math.floor(i / w) + 0.5);
    }
  return Array.from({ length: top + 1 }, (_, l) => {
    const many = Math.min(MOST_POINTS, Math.max(60, xs.length / 4 ** l)),
      every = Math.max(1, xs.length / many),
      n = Math.floor((xs.length - 1) / every) + 1;
    const x = new Float64Array(n),
      y = new Float64Array(n),
      value = new Float32Array(n);
    for (let j = 0; j < n; j++) {
      const i = Math.floor(j * every);
      x[j] = xs[i]!;
      y[j] = ys[i]!;
      value[j] = read(view, l, x[j]!, y[j]!);
    }
    return { x, y, value };
  });
}

function likeness(p: Points, shape: PartShape, pose: PartPose, view: PartView): number {
  let ab = 0,
    aa = 0,
    bb = 0;
  for (let j = 0; j < p.x.length; j++) {
    const [u, v] = placeOf(shape, pose, p.x[j]!, p.y[j]!),
      s = read(view, 0, u, v);
    ab += s * p.value[j]!;
    aa += s * s;
    bb += p.value[j]! ** 2;
  }
  return ab / Math.sqrt(aa * bb + 1e-12);
}

function fitLevel(p: Points, l: number, shape: PartShape, start: PartPose, pose: PartPose, view: PartView): void {
  const n = p.x.length,
    f = 2 ** l,
    r = new Float64Array(n),
    size = new Float64Array(n),
    gx = new Float64Array(n),
    gy = new Float64Array(n);
  for (let round = 0; round < 10; round++) {
    for (let j = 0; j < n; j++) {
      const [u, v] = placeOf(shape, pose, p.x[j]!, p.y[j]!);
      gx[j] = (read(view, l, u + f, v) - read(view, l, u - f, v)) / (2 * f);
      gy[j] = (read(view, l, u, v + f) - read(view, l, u, v - f)) / (2 * f);
      r[j] = read(view, l, u, v) - p.value[j]!;
      size[j] = Math.abs(r[j]!);
    }
    const sigma = Math.max(0.1, 1.4826 * median(size)),
      cut = 4.685 * sigma;
    const A = new Float64Array(64),
      b = new Float64Array(8),
      row = new Float64Array(8);
    for (let j = 0; j < n; j++) {
      if (Math.abs(r[j]!) >= cut) continue;
      const q = (1 - (r[j]! / cut) ** 2) ** 2,
        X = (p.x[j]! - shape.cx) / shape.r,
        Y = (p.y[j]! - shape.cy) / shape.r,
        z = domeAt(shape, p.x[j]!, p.y[j]!),
        a = gx[j]!,
        c = gy[j]!;
      row[0] = a;
      row[1] = a * X;
      row[2] = a * Y;
      row[3] = a * z;
      row[4] = c;
      row[5] = c * X;
      row[6] = c * Y;
      row[7] = c * z;
      for (let i = 0; i < 8; i++) {
        b[i] = b[i]! - q * row[i]! * r[j]!;
        for (let k = i; k < 8; k++) A[i * 8 + k] = A[i * 8 + k]! + q * row[i]! * row[k]!;
      }
    }
    // Neighbouring points share their noise; shape and turn are held near the start.
    const noise = 8 * sigma ** 2;
    for (let t = 0; t < 8; t++) {
      const sd = shape.r * (t === 0 || t === 4 ? 0.5 : t === 3 || t === 7 ? TURN_SD : SHAPE_SD);
      A[t * 8 + t] = A[t * 8 + t]! + noise / sd ** 2;
      b[t] = b[t]! - (noise * (pose[t]! - start[t]!)) / sd ** 2;
      for (let k = 0; k < t; k++) A[t * 8 + k] = A[k * 8 + t]!;
    }
    const step = solveCholesky(A, b, 8);
    if (step === null) return;
    let way = 0;
    for (let t = 0; t < 8; t++) {
      pose[t] = pose[t]! + step[t]!;
      way = Math.max(way, Math.abs(step[t]!));
    }
    if (way < 0.005 * f) return;
  }
}
